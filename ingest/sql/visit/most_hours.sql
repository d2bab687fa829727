SELECT max(hours) FROM visit WHERE unit = ? AND visited_on <= ? AND NOT withdrawn
