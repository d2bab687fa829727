-- Whether any stock of a depot (parameter 1) is on record.
SELECT EXISTS (SELECT 1 FROM stock WHERE depot = ?)
