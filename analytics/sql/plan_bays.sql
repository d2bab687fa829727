SELECT depot, week_of, hours FROM bay_hours
