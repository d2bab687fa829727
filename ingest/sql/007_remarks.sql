-- What was remarked or asked is kept as a code and the values its sentence is made from, not as a sentence.

ALTER TABLE question ADD COLUMN details JSON;
ALTER TABLE question ALTER COLUMN text DROP NOT NULL;
COMMENT ON COLUMN question.details IS 'the values that the sentence of this code is made from';
COMMENT ON COLUMN question.text IS 'the sentence, where it was kept without values';
COMMENT ON COLUMN capture.notes IS 'assumptions made while reading: code, level and the values of its sentence (text where these were not kept)';
COMMENT ON COLUMN reading.notes IS 'code, level and the values of its sentence (text where these were not kept)';
