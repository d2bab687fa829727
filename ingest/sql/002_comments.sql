-- What each table and column means: the source of docs/data_dictionary.md.

COMMENT ON TABLE bay_hours IS 'Bay hours open to planned work.';
COMMENT ON COLUMN bay_hours.week_of IS 'its Monday; empty: every week';
COMMENT ON COLUMN bay_hours.ref IS 'the source''s own row id';
COMMENT ON COLUMN bay_hours.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE booking IS 'A person''s decision about one pump.';
COMMENT ON COLUMN booking.status IS 'booked, pinned, rejected, done or withdrawn';
COMMENT ON COLUMN booking.risk IS 'risk shown when it was decided';
COMMENT ON COLUMN booking.expected_saving IS 'saving shown when it was decided';
COMMENT ON COLUMN booking.decided_at IS 'UTC';
COMMENT ON COLUMN booking.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE breakdown IS 'A stop on the road.';
COMMENT ON COLUMN breakdown.odometer_km IS 'km';
COMMENT ON COLUMN breakdown.pump_confirmed IS 'yes, no or unknown: only yes counts as a pump failure';
COMMENT ON COLUMN breakdown.ref IS 'the source''s own row id';
COMMENT ON COLUMN breakdown.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE capture IS 'One recorded current waveform; its samples lie in the folder beside the ledger, in a file named by the hash.';
COMMENT ON COLUMN capture.capture_hash IS 'SHA-256 of sample rate and samples: the same samples under any file name are one capture';
COMMENT ON COLUMN capture.file_name IS 'name of the file it came from';
COMMENT ON COLUMN capture.sample_rate_hz IS 'samples a second';
COMMENT ON COLUMN capture.samples IS 'how many';
COMMENT ON COLUMN capture.start_s IS 'time of the first sample, s (negative before a trigger)';
COMMENT ON COLUMN capture.stored_as IS 'int16, int32, float32 or float64; whichever is exact';
COMMENT ON COLUMN capture.scale_a IS 'one step of the stored whole numbers, A';
COMMENT ON COLUMN capture.offset_a IS 'A at zero steps';
COMMENT ON COLUMN capture.captured_at IS 'UTC, where the file says';
COMMENT ON COLUMN capture.notes IS 'assumptions made while reading: code, level, text';
COMMENT ON COLUMN capture.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE change_log IS 'Every change of a stored value: who, when, what, old and new.';
COMMENT ON COLUMN change_log.changed_at IS 'UTC';
COMMENT ON COLUMN change_log.command IS 'what made the change';
COMMENT ON COLUMN change_log.field IS 'empty: a whole row';

COMMENT ON TABLE connection_note IS 'Where to clamp on a kind of vehicle.';
COMMENT ON COLUMN connection_note.access IS 'how to get there';
COMMENT ON COLUMN connection_note.picture_type IS 'media type of the picture';
COMMENT ON COLUMN connection_note.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE cost_entry IS 'Prices of cost elements: dated, with their source.';
COMMENT ON COLUMN cost_entry.element IS 'such as tow, planned_replacement or failure_replacement';
COMMENT ON COLUMN cost_entry.class IS 'empty: all classes';
COMMENT ON COLUMN cost_entry.depot IS 'empty: all depots';
COMMENT ON COLUMN cost_entry.valid_from IS 'first day it holds';
COMMENT ON COLUMN cost_entry.source IS 'where the price comes from';
COMMENT ON COLUMN cost_entry.confirmed IS 'false: a placeholder nobody has confirmed';
COMMENT ON COLUMN cost_entry.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE due_work IS 'Other work a unit is due in for.';
COMMENT ON COLUMN due_work.ref IS 'the source''s own row id';
COMMENT ON COLUMN due_work.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE fit IS 'A fit of the risk model to the ledger.';
COMMENT ON COLUMN fit.fitted_at IS 'UTC';
COMMENT ON COLUMN fit.data_from IS 'first day of its data';
COMMENT ON COLUMN fit.data_until IS 'last day of its data';
COMMENT ON COLUMN fit.pumps IS 'how many it used';
COMMENT ON COLUMN fit.visits IS 'how many it used';
COMMENT ON COLUMN fit.failures IS 'how many it used';

COMMENT ON TABLE odometer IS 'Odometer readings from elsewhere, such as fuel cards.';
COMMENT ON COLUMN odometer.odometer_km IS 'km';
COMMENT ON COLUMN odometer.source IS 'reading, or cluster-replaced (the new instrument''s reading, which starts the count anew)';
COMMENT ON COLUMN odometer.ref IS 'the source''s own row id';
COMMENT ON COLUMN odometer.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE plan_list IS 'A replacement list; the newest is the plan in force.';
COMMENT ON COLUMN plan_list.made_at IS 'UTC';
COMMENT ON COLUMN plan_list.lines IS 'the list''s lines';

COMMENT ON TABLE pump IS 'One life: one physical pump in one position of one unit, from fitting to removal.';
COMMENT ON COLUMN pump.pump_id IS 'number of the life';
COMMENT ON COLUMN pump.position IS 'which pump of the unit; main where there is one';
COMMENT ON COLUMN pump.lot IS 'batch it came from';
COMMENT ON COLUMN pump.run_share IS 'share of the unit''s distance this pump runs, 0 to 1';
COMMENT ON COLUMN pump.fitted_on IS 'empty: unknown';
COMMENT ON COLUMN pump.fitted_odometer_km IS 'the unit''s odometer at fitting, km';
COMMENT ON COLUMN pump.fitted_hours IS 'the unit''s engine hours at fitting';
COMMENT ON COLUMN pump.prior_distance_km IS 'distance run before this fitting (a pump moved here), km';
COMMENT ON COLUMN pump.continues_pump_id IS 'the life before the move';
COMMENT ON COLUMN pump.removed_on IS 'empty: in service';
COMMENT ON COLUMN pump.removed_odometer_km IS 'km';
COMMENT ON COLUMN pump.removal IS 'failed, on_condition, opportunity or other; all but failed are suspensions';
COMMENT ON COLUMN pump.found IS 'on strip-down: worn, seized, electrical, tested_good or not_examined';
COMMENT ON COLUMN pump.failure_mode IS 'how it failed (ISO 14224)';
COMMENT ON COLUMN pump.failure_mechanism IS 'by what process (ISO 14224)';
COMMENT ON COLUMN pump.cause IS 'why (ISO 14224)';
COMMENT ON COLUMN pump.cost IS 'what the replacement cost';
COMMENT ON COLUMN pump.claim IS 'warranty claim';
COMMENT ON COLUMN pump.ref IS 'the source''s own row id';
COMMENT ON COLUMN pump.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE pump_type IS 'A part number with its specification.';
COMMENT ON COLUMN pump_type.pump_type IS 'the part number, or a name of the fleet''s own';
COMMENT ON COLUMN pump_type.motor IS 'brushed or brushless';
COMMENT ON COLUMN pump_type.supply IS 'direct, two-speed or pwm';
COMMENT ON COLUMN pump_type.segments IS 'commutator bars, if known';
COMMENT ON COLUMN pump_type.current_low_a IS 'low end of the specified current, A';
COMMENT ON COLUMN pump_type.current_high_a IS 'high end of the specified current, A';
COMMENT ON COLUMN pump_type.spec_at_v IS 'volts at which the specification holds';
COMMENT ON COLUMN pump_type.spec_at_kpa IS 'pressure at which the specification holds, kPa';
COMMENT ON COLUMN pump_type.ripple_limit_pct IS 'ripple above which to look closer, percent of the average';
COMMENT ON COLUMN pump_type.rpm_low IS 'low end of the usual speed, 1/min';
COMMENT ON COLUMN pump_type.rpm_high IS 'high end of the usual speed, 1/min';
COMMENT ON COLUMN pump_type.rated_pressure_kpa IS 'rated pressure, kPa';
COMMENT ON COLUMN pump_type.filter IS 'inline, module (not serviceable alone) or none';
COMMENT ON COLUMN pump_type.lead_time_days IS 'days from order to shelf';
COMMENT ON COLUMN pump_type.price IS 'price of the part, in the fleet''s currency';
COMMENT ON COLUMN pump_type.warranty_distance_km IS 'km';
COMMENT ON COLUMN pump_type.spec_source IS 'where the specification comes from';
COMMENT ON COLUMN pump_type.ref IS 'the source''s own row id';
COMMENT ON COLUMN pump_type.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE question IS 'A question about the data, for a person to answer.';
COMMENT ON COLUMN question.raised_at IS 'UTC';
COMMENT ON COLUMN question.table_name IS 'table of the row in question';
COMMENT ON COLUMN question.row_key IS 'its key';
COMMENT ON COLUMN question.field IS 'the entry it concerns';
COMMENT ON COLUMN question.code IS 'the kind of question';
COMMENT ON COLUMN question.status IS 'open, confirmed, corrected or dismissed';
COMMENT ON COLUMN question.answer IS 'the reason given';
COMMENT ON COLUMN question.answered_at IS 'UTC';

COMMENT ON TABLE reading IS 'Metrics measured at a visit. Measuring again adds a row by a higher method; nothing is overwritten.';
COMMENT ON COLUMN reading.origin IS 'capture (measured here), meter or elsewhere';
COMMENT ON COLUMN reading.method_version IS 'method that measured it; 0 where it was not measured here';
COMMENT ON COLUMN reading.mean_a IS 'average over whole turns, A';
COMMENT ON COLUMN reading.mean_a_se IS 'its standard error, A';
COMMENT ON COLUMN reading.mean_a_accuracy_a IS 'how far clamp and zero may have it off, A';
COMMENT ON COLUMN reading.min_a IS 'lowest, A';
COMMENT ON COLUMN reading.max_a IS 'highest, A';
COMMENT ON COLUMN reading.ripple_a IS 'peak to peak of the average turn, A';
COMMENT ON COLUMN reading.ripple_pct IS 'percent of mean_a';
COMMENT ON COLUMN reading.ripple_pct_se IS 'its standard error';
COMMENT ON COLUMN reading.raw_ripple_pct IS '(highest - lowest) / average * 100 of the raw trace';
COMMENT ON COLUMN reading.revolution_ms IS 'ms a turn';
COMMENT ON COLUMN reading.rpm IS 'speed, 1/min';
COMMENT ON COLUMN reading.rpm_se IS 'its standard error';
COMMENT ON COLUMN reading.segments IS 'commutator bars found';
COMMENT ON COLUMN reading.speed_confidence IS 'probability that the speed is the right one, 0 to 1';
COMMENT ON COLUMN reading.pattern_repeat_ms IS 'ms after which the pattern repeats';
COMMENT ON COLUMN reading.duration_s IS 'length of the record, s';
COMMENT ON COLUMN reading.steady_from_s IS 'start of the settled run, s';
COMMENT ON COLUMN reading.steady_to_s IS 'its end, s';
COMMENT ON COLUMN reading.turns IS 'turns measured';
COMMENT ON COLUMN reading.zero_a IS 'off level subtracted, A; empty: zero unverified';
COMMENT ON COLUMN reading.inrush_peak_a IS 'highest current on starting, A';
COMMENT ON COLUMN reading.settling_ms IS 'time to settle, ms';
COMMENT ON COLUMN reading.segment_profile_pct IS 'averaged height of each segment, percent of mean_a';
COMMENT ON COLUMN reading.weakest_segment_z IS 'how far out of family, robust sd';
COMMENT ON COLUMN reading.strongest_segment_z IS 'how far out of family, robust sd';
COMMENT ON COLUMN reading.once_per_turn_pct IS 'percent of mean_a';
COMMENT ON COLUMN reading.twice_per_turn_pct IS 'percent of mean_a';
COMMENT ON COLUMN reading.speed_steadiness_pct IS 'sd of the speed within the window, percent';
COMMENT ON COLUMN reading.pwm_hz IS 'frequency of a pulsed supply found';
COMMENT ON COLUMN reading.speed_candidates IS 'speeds the trace allows, with probabilities';
COMMENT ON COLUMN reading.notes IS 'code, level, text';
COMMENT ON COLUMN reading.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE schema_version IS 'Which migration scripts have been applied.';
COMMENT ON COLUMN schema_version.version IS 'number of the script';
COMMENT ON COLUMN schema_version.name IS 'its file name';
COMMENT ON COLUMN schema_version.applied_at IS 'when, UTC';

COMMENT ON TABLE service IS 'Work done on a unit''s fuel system other than a pump change.';
COMMENT ON COLUMN service.odometer_km IS 'km';
COMMENT ON COLUMN service.work IS 'filter, filter_kept (pump changed, old filter stayed), wiring, tank_cleaned or other';
COMMENT ON COLUMN service.visit_id IS 'the visit it was done at';
COMMENT ON COLUMN service.ref IS 'the source''s own row id';
COMMENT ON COLUMN service.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE setting IS 'What alters figures and is not a fact about a vehicle: dated, with who and when.';
COMMENT ON COLUMN setting.valid_from IS 'first day it holds';
COMMENT ON COLUMN setting.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE stock IS 'Pumps on the shelf.';
COMMENT ON COLUMN stock.on_hand IS 'how many';
COMMENT ON COLUMN stock.ref IS 'the source''s own row id';
COMMENT ON COLUMN stock.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE vehicle IS 'A unit of the fleet.';
COMMENT ON COLUMN vehicle.unit IS 'the fleet''s own number, as written: 007 is not 7';
COMMENT ON COLUMN vehicle.vin IS 'vehicle identification number (ISO 3779)';
COMMENT ON COLUMN vehicle.year IS 'model year';
COMMENT ON COLUMN vehicle.class IS 'duty class, such as ambulance or school bus; a risk ceiling may hang on it';
COMMENT ON COLUMN vehicle.depot IS 'where it is kept and serviced';
COMMENT ON COLUMN vehicle.system_v IS 'nominal supply, V';
COMMENT ON COLUMN vehicle.in_service_on IS 'first day in service';
COMMENT ON COLUMN vehicle.records_from IS 'day from which its history is complete: life fits enter here (delayed entry)';
COMMENT ON COLUMN vehicle.retires_on IS 'planned last day';
COMMENT ON COLUMN vehicle.pm_interval_km IS 'distance between planned stops, km';
COMMENT ON COLUMN vehicle.pm_interval_days IS 'days between planned stops';
COMMENT ON COLUMN vehicle.pm_interval_hours IS 'engine hours between planned stops';
COMMENT ON COLUMN vehicle.job_hours IS 'bay hours to replace its pump';
COMMENT ON COLUMN vehicle.clock IS 'distance or hours: what drives life and interval';
COMMENT ON COLUMN vehicle.ref IS 'the source''s own row id';
COMMENT ON COLUMN vehicle.recorded_at IS 'when the row became known, UTC';

COMMENT ON TABLE visit IS 'One preventive-maintenance stop of a unit, with a capture or a meter''s average amps.';
COMMENT ON COLUMN visit.pump_id IS 'the pump it belongs to';
COMMENT ON COLUMN visit.visited_on IS 'local date';
COMMENT ON COLUMN visit.visited_at IS 'UTC, when known';
COMMENT ON COLUMN visit.time_zone IS 'of the local date';
COMMENT ON COLUMN visit.odometer_km IS 'as used, km';
COMMENT ON COLUMN visit.odometer_entered IS 'as entered, in odometer_unit';
COMMENT ON COLUMN visit.odometer_unit IS 'mi or km';
COMMENT ON COLUMN visit.hours IS 'engine hours';
COMMENT ON COLUMN visit.reason IS 'pm, complaint, road-call or after-repair';
COMMENT ON COLUMN visit.state IS 'engine state: prime, idle or loaded';
COMMENT ON COLUMN visit.meter_a IS 'average of a meter, A';
COMMENT ON COLUMN visit.supply_v IS 'volts at the pump under load';
COMMENT ON COLUMN visit.drop_supply_v IS 'loaded voltage drop of the supply side, V';
COMMENT ON COLUMN visit.drop_ground_v IS 'loaded voltage drop of the ground side, V';
COMMENT ON COLUMN visit.fuel_pressure_kpa IS 'kPa';
COMMENT ON COLUMN visit.delivery_l_min IS 'measured delivery, L/min';
COMMENT ON COLUMN visit.fuel_temp_c IS 'deg C';
COMMENT ON COLUMN visit.fuel_level_pct IS 'tank level, percent';
COMMENT ON COLUMN visit.duty_pct IS 'commanded duty of a pulsed supply, percent';
COMMENT ON COLUMN visit.clamp IS 'which clamp or meter';
COMMENT ON COLUMN visit.clamp_point IS 'where it was clamped';
COMMENT ON COLUMN visit.in_trend IS 'false while an open question keeps it out of the trend';
COMMENT ON COLUMN visit.withdrawn IS 'true: taken out of all figures by a person, see change_log';
COMMENT ON COLUMN visit.ref IS 'the source''s own row id';
COMMENT ON COLUMN visit.recorded_at IS 'when the row became known, UTC';

COMMENT ON VIEW current_reading IS 'The newest reading of each visit.';
COMMENT ON VIEW visit_detail IS 'One row a visit that was not withdrawn, with its newest reading, pump, type and vehicle.';
