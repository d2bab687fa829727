-- Claims under warranty, step by step, and pump types or lots that are held back.

CREATE TABLE claim_step (
    step_id BIGINT PRIMARY KEY, pump_id BIGINT NOT NULL, state VARCHAR NOT NULL, stated_on DATE NOT NULL,
    stated_by VARCHAR, amount DOUBLE, note VARCHAR, ref VARCHAR, recorded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE claim_step IS 'What became of a claim for a pump taken off, one row a step; the newest counts.';
COMMENT ON COLUMN claim_step.step_id IS 'number of the step';
COMMENT ON COLUMN claim_step.pump_id IS 'the pump claimed for';
COMMENT ON COLUMN claim_step.state IS 'open, sent, paid or refused';
COMMENT ON COLUMN claim_step.stated_on IS 'the day';
COMMENT ON COLUMN claim_step.stated_by IS 'who said so';
COMMENT ON COLUMN claim_step.amount IS 'claimed or paid, in the fleet''s currency';
COMMENT ON COLUMN claim_step.note IS 'such as the claim''s number, or why it was refused';
COMMENT ON COLUMN claim_step.ref IS 'the source''s own row id';
COMMENT ON COLUMN claim_step.recorded_at IS 'when the row became known, UTC';

CREATE TABLE hold (
    hold_id BIGINT PRIMARY KEY, pump_type VARCHAR NOT NULL, lot VARCHAR, reason VARCHAR NOT NULL,
    held_on DATE NOT NULL, held_by VARCHAR, lifted_on DATE, lifted_by VARCHAR, lifted_because VARCHAR,
    ref VARCHAR, recorded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE hold IS 'Pump types and lots that are not to be fitted, and whose pumps in service are looked after one by one.';
COMMENT ON COLUMN hold.hold_id IS 'number of the hold';
COMMENT ON COLUMN hold.lot IS 'the lot; empty: the whole type';
COMMENT ON COLUMN hold.reason IS 'why';
COMMENT ON COLUMN hold.held_on IS 'from this day on';
COMMENT ON COLUMN hold.held_by IS 'who said so';
COMMENT ON COLUMN hold.lifted_on IS 'when it ended; empty: it stands';
COMMENT ON COLUMN hold.lifted_by IS 'who ended it';
COMMENT ON COLUMN hold.lifted_because IS 'why it ended';
COMMENT ON COLUMN hold.ref IS 'the source''s own row id';
COMMENT ON COLUMN hold.recorded_at IS 'when the row became known, UTC';

CREATE TABLE hold_closed (
    closed_id BIGINT PRIMARY KEY, hold_id BIGINT NOT NULL, pump_id BIGINT, depot VARCHAR,
    closed_on DATE NOT NULL, closed_by VARCHAR, outcome VARCHAR NOT NULL, note VARCHAR, ref VARCHAR,
    recorded_at TIMESTAMP NOT NULL
);
COMMENT ON TABLE hold_closed IS 'One pump, or one depot''s stock, that a hold is done with. A pump changed is done with by its change.';
COMMENT ON COLUMN hold_closed.closed_id IS 'number of the row';
COMMENT ON COLUMN hold_closed.hold_id IS 'of which hold';
COMMENT ON COLUMN hold_closed.pump_id IS 'the pump, where it is one in service';
COMMENT ON COLUMN hold_closed.depot IS 'the depot, where it is its stock';
COMMENT ON COLUMN hold_closed.closed_on IS 'the day';
COMMENT ON COLUMN hold_closed.closed_by IS 'who closed it';
COMMENT ON COLUMN hold_closed.outcome IS 'checked (good), not_affected, returned or scrapped';
COMMENT ON COLUMN hold_closed.ref IS 'the source''s own row id';
COMMENT ON COLUMN hold_closed.recorded_at IS 'when the row became known, UTC';

INSERT INTO last_id SELECT 'claim_step', 0;
INSERT INTO last_id SELECT 'hold', 0;
INSERT INTO last_id SELECT 'hold_closed', 0;
