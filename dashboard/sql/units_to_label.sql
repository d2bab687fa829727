-- Units in use, with depot and vehicle, of one depot or all.
SELECT unit, depot, nullif(concat_ws(' ', make, model), '') AS vehicle
FROM vehicle
WHERE (retires_on IS NULL OR retires_on >= current_date) AND ($depot IS NULL OR depot = $depot)
ORDER BY depot, unit;
