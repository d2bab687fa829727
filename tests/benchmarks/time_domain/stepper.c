/* One motor stepped through time: the very equations of integrate.py, which says what they mean. */
#include <math.h>
#include <string.h>

#define MOST 40
enum { BARS, POLES, STEP_S, FLATNESS, FIELD_TURN, FIELD_EVEN, HALF_BAR, HALF_BRUSH, DROP_V, ARC_V, WIRE_H,
       SUPPRESSOR_F, RELAX_S, LEAST_A, OPEN_OHM, LIGHT, INERTIA, FRICTION, VISCOUS, PRESSURE_NM, FAN, UNEVEN_TURN,
       VANES, UNEVEN_VANE, COGGING, RATED, FILLING, BACK, DROOP, REGULATOR_S, LINE_S, LEAK, LOCKED, TEETH };

/* Solve a symmetric system (n, n) in place, by L D L' without exchanges: all its pivots are conductances. */
static void solve(double a[MOST + 1][MOST + 1], double *x, int n) {
    for (int k = 0; k < n; k++) {
        double inverse = 1 / a[k][k];
        for (int i = k + 1; i < n; i++) {
            double share = a[k][i] * inverse;
            for (int j = i; j < n; j++) a[i][j] -= share * a[k][j];
            x[i] -= share * x[k];
        }
    }
    for (int k = n - 1; k >= 0; k--) {
        for (int j = k + 1; j < n; j++) x[k] -= a[k][j] * x[j];
        x[k] /= a[k][k];
    }
}

/* constant: the numbers above. Per coil or bar (c,): place, coil_place, emf_v_s, film; (b,): brush, plus;
   (c, c): keep, give, push; network (c + 1, c + 1); series (steps,), contact (steps, b). start: angle, speed,
   pressure, lift. Returns 1 where there are more bars or brushes than room. */
int step_motor(const double *constant, const double *place, const double *coil_place, const double *emf_v_s,
               const double *film, const double *brush, const double *plus, const double *keep,
               const double *give, const double *push, const double *network, const double *source,
               const double *on, const double *wire_ohm, const double *contact, const double *load,
               const double *arc, const double *use, const double *start, long steps, long light_steps,
               float *current, double *turns) {
    const double *k = constant;
    int c = (int)k[BARS], b = (int)k[POLES];
    if (c > MOST || b > 8) return 1;
    double coil[MOST] = {0}, bar_v[MOST] = {0}, wire = 0, brush_v = 0, emf[MOST], back[MOST], carried[MOST];
    double through[MOST][8], arc_s[MOST][8], touch[MOST][8], a[MOST + 1][MOST + 1], x[MOST + 1];
    memset(through, 0, sizeof through);
    memset(arc_s, 0, sizeof arc_s);
    double angle = start[0], speed = start[1], pressure = start[2], lift = start[3], step_s = k[STEP_S];
    double flat = tanh(k[FLATNESS]), pitches = c, relax = fmin(1, step_s / k[RELAX_S]);
    double reach = k[HALF_BAR] + k[HALF_BRUSH], most = 2 * fmin(k[HALF_BAR], k[HALF_BRUSH]);
    double inertia_h = k[WIRE_H] / step_s, held = k[SUPPRESSOR_F] / step_s;
    for (long i = 0; i < steps; i++) {
        double ohms = on[i] < 1e-9 && wire <= 1e-3 ? k[OPEN_OHM] : wire_ohm[i], arc_v = k[ARC_V] * arc[i];
        double series = ohms + inertia_h, driven = source[i] + inertia_h * wire, corner = 1 / series + held;
        for (int n = 0; n < c; n++) {
            double mechanical = angle + coil_place[n], sine = sin(0.5 * b * mechanical);
            double met = tanh(k[FLATNESS] * sine * sine * sine) / flat;
            if (k[FIELD_TURN] != 0) met += k[FIELD_TURN] * sin(mechanical + 1);
            if (k[FIELD_EVEN] != 0) met += 2 * k[FIELD_EVEN] * sine * cos(0.5 * b * mechanical);
            emf[n] = emf_v_s[n] * met;
            back[n] = emf[n] * speed;
        }
        for (int n = 0; n < c; n++) {
            double sum = 0;
            for (int m = 0; m < c; m++) sum += keep[n * c + m] * coil[m] - give[n * c + m] * back[m];
            carried[n] = sum;
        }
        for (int n = 0; n <= c; n++) memcpy(a[n], network + n * (c + 1), (c + 1) * sizeof(double));
        for (int n = 0; n < c; n++) {
            double all = 0, fed = 0;
            for (int j = 0; j < b; j++) {
                double off = (angle + place[n] - brush[j]) * (pitches / (2 * M_PI));
                off -= pitches * rint(off / pitches);
                double cover = fmax(fmin(reach - fabs(off), most), 0), strength = fabs(through[n][j]);
                double density = strength / fmax(cover, 0.05);
                double hot = strength > k[LEAST_A] ? strength / arc_v : 0;
                arc_s[n][j] += (hot - arc_s[n][j]) * relax;
                touch[n][j] = arc_s[n][j];
                if (cover > 0) touch[n][j] += cover * contact[i * b + j] / (film[n] + k[DROP_V] / (density + 0.5));
                all += touch[n][j];
                fed += touch[n][j] * plus[j];
            }
            a[n][n] += all;
            a[n][c] = -fed;
            corner += fed;
            x[n] = carried[n ? n - 1 : c - 1] - carried[n];
        }
        a[c][c] = corner;
        x[c] = driven / series + held * brush_v;
        solve(a, x, c + 1);
        memcpy(bar_v, x, c * sizeof(double));
        brush_v = x[c];
        wire = (driven - brush_v) / series;
        double drive = 0;
        for (int n = 0; n < c; n++) {
            double sum = carried[n];
            for (int m = 0; m < c; m++) sum += push[n * c + m] * bar_v[m];
            coil[n] = sum;
            drive += emf[n] * sum;
            for (int j = 0; j < b; j++) through[n][j] = touch[n][j] * (brush_v * plus[j] - bar_v[n]);
        }
        double share = fmax(speed, 0) / k[RATED];
        double flow = k[FILLING] * (1 + k[LEAK]) * share - k[LEAK] * pressure;
        double target = fmax(0, (pressure - 1 + k[DROOP]) / k[DROOP]);
        lift += (target - lift) * fmin(1, step_s / k[REGULATOR_S]);
        pressure = fmax(0, pressure + step_s / k[LINE_S] * (flow - lift * sqrt(fmax(pressure, 0)) - use[i]));
        double ahead = pressure + k[BACK] * fmax(flow, 0) * fmax(flow, 0);
        double uneven = 1 + k[UNEVEN_TURN] * cos(angle) + k[UNEVEN_VANE] * cos(k[VANES] * angle);
        double torque = k[FRICTION] * fmin(1, fabs(speed) / 5) + k[VISCOUS] * speed;
        torque += k[PRESSURE_NM] * ahead * uneven * (0.3 + 0.7 * k[FILLING]) + k[FAN] * speed * fabs(speed);
        torque = torque * load[i] + k[COGGING] * sin(k[TEETH] * angle);
        double light = i < light_steps ? k[LIGHT] : 1;
        speed = k[LOCKED] != 0 ? 0 : fmax(speed + step_s * (drive - torque) / (k[INERTIA] * light), 0);
        angle += step_s * speed;
        current[i] = (float)wire;
        turns[i] = angle / (2 * M_PI);
    }
    return 0;
}

/* What hysteresis leaves of a current (steps,), in place: play of half width play_a in `share` of the field. */
void through_core(float *current, long steps, double share, double play_a) {
    double held = 0;
    for (long i = 0; i < steps; i++) {
        double now = current[i];
        held = fmin(fmax(held, now - play_a), now + play_a);
        current[i] = (float)(now + share * (held - now));
    }
}
