SELECT unit, due_on, work, hours FROM due_work
