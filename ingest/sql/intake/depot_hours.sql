-- Bay hours of an ordinary week at a depot.
SELECT hours FROM bay_hours WHERE depot = ? AND week_of IS NULL;
