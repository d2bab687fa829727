-- Pumps in service on a unit (parameter 1), at one position where it is given (parameter 2, or NULL).
SELECT pump_id, position FROM pump
WHERE unit = $1 AND removed_on IS NULL AND position = coalesce($2, position)
ORDER BY position, pump_id DESC
