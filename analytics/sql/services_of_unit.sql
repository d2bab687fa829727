SELECT unit, done_on, work FROM service WHERE unit = ?
