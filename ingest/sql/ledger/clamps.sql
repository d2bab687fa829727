SELECT clamp, factor, channel, range_a, pct, offset_a, owner, checked_on, due_on FROM clamp ORDER BY clamp;
