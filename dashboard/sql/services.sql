-- Work done, newest first; one page of it.
SELECT unit, done_on, work, odometer_km, note, count(*) OVER () AS found
FROM service WHERE ($find = '' OR unit ILIKE '%' || $find || '%')
ORDER BY done_on DESC, service_id DESC LIMIT $rows OFFSET $skip;
