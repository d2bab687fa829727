(SELECT max(s.done_on) FROM service s
    WHERE s.unit = v.unit AND s.work = 'filter' AND s.done_on <= v.visited_on) AS filter_changed_on
