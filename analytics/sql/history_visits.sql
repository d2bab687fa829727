-- Every reading up to the as-of date with what analytics needs of it, in order of pump and clock.
-- {visits}: visit_detail, or the visit_rows of one pump. Last parameter: as-of date, NULL for all.
SELECT
    visit_id, pump_id, visited_on - DATE '1970-01-01' AS day, odometer_km, hours, in_trend, reason,
    coalesce(state, '') AS state,
    coalesce(CAST(round_even(duty_pct / 5, 0) AS INTEGER), -1) AS duty_step,
    -- What the drive passes of the supply's volts; unknown where it can vary and nobody said.
    CASE
        WHEN supply = 'pwm' THEN CASE WHEN duty_pct > 0 THEN ln(least(duty_pct, 100) / 100) END
        WHEN supply = 'two-speed' AND commanded IS NULL THEN NULL
        ELSE 0
    END AS ln_feed,
    CAST(supply IS NOT DISTINCT FROM 'two-speed' AND commanded IS NOT DISTINCT FROM 'low' AS DOUBLE) AS low_speed,
    mean_a,
    -- Switching shows as ripple on PWM below full duty, and sparks in the plain highest minus lowest.
    CASE WHEN supply = 'pwm' AND coalesce(duty_pct, 0) < 95 THEN NULL ELSE ripple_pct END AS ripple_pct,
    rpm,
    origin IS NOT DISTINCT FROM 'meter' OR mean_a IS NOT DISTINCT FROM meter_a AS by_meter,
    clamp, supply_v, supply_v_at, drop_supply_v, drop_ground_v, fuel_pressure_kpa, fuel_temp_c, fuel_level_pct,
    delivery_l_min, delivery_at, filter_state, strainer, hose, regulator, connector, check_result
FROM {visits}
WHERE visited_on <= coalesce(CAST(? AS DATE), DATE '9999-12-31')
ORDER BY pump_id, visited_on, visit_id
