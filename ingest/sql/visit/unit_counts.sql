-- How many units go by this number (1 or 0), and how many there are.
SELECT count(*) FILTER (unit = ?), count(*) FROM vehicle
