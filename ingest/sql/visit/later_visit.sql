SELECT max(visited_on) FROM visit WHERE unit = ? AND NOT withdrawn AND visited_on > ?
