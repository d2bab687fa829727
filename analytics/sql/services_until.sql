SELECT unit, done_on, work FROM service WHERE done_on <= ?
