-- Pump types whose segments were asked about, answered or not.
SELECT row_key FROM question WHERE code = 'segments-told';
