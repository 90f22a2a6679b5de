/*
 * The state equation of the motor, SI units:
 *
 *   L (1 - s) / (1 + (sat i)^2) di/dt = v - R(T) i - V_b tanh(i / I_b) - k w - R_e (i - i_e)
 *       L s / (1 + (sat i_e)^2) di_e/dt = R_e (i - i_e)
 *                    (J + J_added) dw/dt = k i - T_load - T_c sgn w - B w - C_w w |w|
 *                               da/dt = w,    k = K (1 - a_r |i|) (1 + r cos(n a))
 *
 * and where the thermal model is known
 *
 *   C_1 dT/dt = i (R(T) i + V_b tanh(i / I_b)) + R_e (i - i_e)^2 - (T - T_h) / R_1
 *   C_2 dT_h/dt = (T_c + B w + C_w w^2) w + (T - T_h) / R_1 - (T_h - T_a) / R_2
 *
 * R(T) is copper: R (234.5 + T) / (234.5 + T_R). Coulomb friction holds a rotor at rest until the torque exceeds it; that change is
 * an event. A value reference is a place in the array `r`.
 */
#include <math.h>
#include <stddef.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* An overshoot of the speed beyond rest, rad/s, and of the torque beyond friction, as a share, at which an event is seen. */
#define SPEED_BEYOND 1e-6
#define TORQUE_BEYOND 1e-9
#define SMALLEST_TORQUE 1e-15
#define INDICATORS 2

static const int state_variable[STATES] = STATE_VARIABLES;
static const int rate_variable[STATES] = RATE_VARIABLES;

typedef struct {
    double r[VARIABLES];
    int way; /* 1 forwards, -1 backwards, 0 held by friction */
    int in_initialization;
} Motor;

static void start(Motor *m)
{
    static const double values[VARIABLES] = START_VALUES;
    memcpy(m->r, values, sizeof values);
    m->way = 0;
    m->in_initialization = 0;
}

/* Rates and outputs from states, inputs and parameters. */
static void evaluate(Motor *m)
{
    double *r = m->r;
    double i = r[CURRENT], w = r[SPEED], eddy = r[EDDY_CURRENT];
    double k = r[BACK_EMF_CONSTANT] * (1.0 - r[ARMATURE_REACTION] * fabs(i));
    double resistance = r[TERMINAL_RESISTANCE];
    double push, pull, moving;
    if (r[RIPPLE_SHARE] != 0.0)
        k *= 1.0 + r[RIPPLE_SHARE] * cos(r[RIPPLE_CYCLES_PER_TURN] * r[ANGLE]);
    if (r[RESISTANCE_TEMPERATURE] > 0.0)
        resistance *= (r[WINDING_TEMPERATURE] - COPPER_ZERO_K) / (r[RESISTANCE_TEMPERATURE] - COPPER_ZERO_K);
    r[BACK_EMF] = k * w;
    push = r[TERMINAL_VOLTAGE] - resistance * i - r[BRUSH_DROP] * tanh(i / r[BRUSH_SCALE]) - r[BACK_EMF];
    r[EDDY_CURRENT_RATE] = 0.0;
    if (r[EDDY_SHARE] > 0.0) {
        double across = r[EDDY_RESISTANCE] * (i - eddy);
        double bend = r[SATURATION] * eddy;
        push -= across;
        r[EDDY_CURRENT_RATE] = across * (1.0 + bend * bend) / (r[ARMATURE_INDUCTANCE] * r[EDDY_SHARE]);
    }
    r[CURRENT_RATE] = push * (1.0 + r[SATURATION] * i * r[SATURATION] * i)
        / (r[ARMATURE_INDUCTANCE] * (1.0 - r[EDDY_SHARE]));
    r[TORQUE] = k * i;
    pull = r[TORQUE] - r[LOAD_TORQUE];
    moving = r[COULOMB_FRICTION] * m->way + r[VISCOUS_FRICTION] * w + r[WINDAGE] * w * fabs(w);
    r[FRICTION_TORQUE] = m->way ? moving : pull;
    r[SPEED_RATE] = m->way ? (pull - moving) / (r[ROTOR_INERTIA] + r[ADDED_INERTIA]) : 0.0;
    r[ANGLE_RATE] = w;
#ifdef THERMAL
    {
        /* The heat of winding and brushes, and of friction in bearings and housing. */
        double through = (r[WINDING_TEMPERATURE] - r[HOUSING_TEMPERATURE]) / r[WINDING_TO_HOUSING_RESISTANCE];
        double away = (r[HOUSING_TEMPERATURE] - r[AMBIENT_TEMPERATURE]) / r[HOUSING_TO_AMBIENT_RESISTANCE];
        double heat = i * (resistance * i + r[BRUSH_DROP] * tanh(i / r[BRUSH_SCALE]));
        if (r[EDDY_SHARE] > 0.0)
            heat += r[EDDY_RESISTANCE] * (i - eddy) * (i - eddy);
        r[WINDING_TEMPERATURE_RATE] = (heat - through) / r[WINDING_HEAT_CAPACITY];
        r[HOUSING_TEMPERATURE_RATE] = (r[FRICTION_TORQUE] * w + through - away) / r[HOUSING_HEAT_CAPACITY];
    }
#endif
    r[HOLDING] = m->way ? m->way * w + SPEED_BEYOND : 1.0;
    r[BREAKAWAY] = m->way ? 1.0
        : r[COULOMB_FRICTION] * (1.0 + TORQUE_BEYOND) + SMALLEST_TORQUE - fabs(pull);
}

/* The way in which the torque turns a rotor at rest, 0 where friction holds it. */
static int pulled(Motor *m)
{
    double pull;
    evaluate(m);
    pull = m->r[TORQUE] - m->r[LOAD_TORQUE];
    if (fabs(pull) <= m->r[COULOMB_FRICTION] * (1.0 + TORQUE_BEYOND) + SMALLEST_TORQUE)
        return 0;
    return pull > 0.0 ? 1 : -1;
}

/* At an event: begins and ends holding. Returns whether the states changed. */
static int settle(Motor *m)
{
    int changed = 0;
    if (m->way * m->r[SPEED] < 0.0 || m->r[SPEED] == 0.0) {
        changed = m->r[SPEED] != 0.0;
        m->r[SPEED] = 0.0;
        m->way = pulled(m);
    } else if (m->way == 0) {
        m->way = m->r[SPEED] > 0.0 ? 1 : -1;
    }
    evaluate(m);
    return changed;
}

/* Largest rate at which the electrical states move, 1/s. */
static double fastest(const Motor *m)
{
    const double *r = m->r;
    double bend = 1.0 + r[SATURATION] * r[CURRENT] * r[SATURATION] * r[CURRENT];
    double resistance = r[TERMINAL_RESISTANCE] + r[BRUSH_DROP] / r[BRUSH_SCALE]
        + (r[EDDY_SHARE] > 0.0 ? r[EDDY_RESISTANCE] : 0.0);
    double rate = resistance * bend / (r[ARMATURE_INDUCTANCE] * (1.0 - r[EDDY_SHARE]));
    if (r[EDDY_SHARE] > 0.0)
        rate += r[EDDY_RESISTANCE] * bend / (r[ARMATURE_INDUCTANCE] * r[EDDY_SHARE]);
    rate += (r[VISCOUS_FRICTION] + r[BACK_EMF_CONSTANT] * r[BACK_EMF_CONSTANT] / r[TERMINAL_RESISTANCE]
             + 2.0 * r[WINDAGE] * fabs(r[SPEED])) / (r[ROTOR_INERTIA] + r[ADDED_INERTIA]);
    if (r[RIPPLE_SHARE] != 0.0)
        rate += fabs(r[RIPPLE_CYCLES_PER_TURN] * r[SPEED]);
    return rate;
}

/* One step of the classical Runge-Kutta method of fourth order. */
static void step(Motor *m, double h)
{
    static const double reach[4] = {0.0, 0.5, 0.5, 1.0}, weight[4] = {1.0, 2.0, 2.0, 1.0};
    double from[STATES], sum[STATES] = {0.0}, rate[STATES] = {0.0};
    int stage, n;
    for (n = 0; n < STATES; n++)
        from[n] = m->r[state_variable[n]];
    for (stage = 0; stage < 4; stage++) {
        for (n = 0; n < STATES; n++)
            m->r[state_variable[n]] = from[n] + reach[stage] * h * rate[n];
        evaluate(m);
        for (n = 0; n < STATES; n++) {
            rate[n] = m->r[rate_variable[n]];
            sum[n] += weight[stage] * rate[n];
        }
    }
    for (n = 0; n < STATES; n++)
        m->r[state_variable[n]] = from[n] + h / 6.0 * sum[n];
}

/* Whether a turning rotor has come to rest or one at rest has broken away. */
static int event(Motor *m)
{
    if (m->way)
        return m->way * m->r[SPEED] < 0.0;
    evaluate(m);
    return m->r[BREAKAWAY] < 0.0;
}

/* Simulates until a time; returns 0 where the states stop being numbers. */
static int simulate(Motor *m, double until)
{
    settle(m);
    while (m->r[TIME] < until) {
        Motor before = *m;
        double h = 0.1 / fastest(m);
        double left = until - m->r[TIME];
        int last = h >= left;
        if (last)
            h = left;
        step(m, h);
        if (event(m)) {
            /* The step ends at the event. */
            double low = 0.0, high = h;
            int n;
            for (n = 0; n < 40; n++) {
                double middle = 0.5 * (low + high);
                *m = before;
                step(m, middle);
                if (event(m))
                    high = middle;
                else
                    low = middle;
            }
            *m = before;
            step(m, high);
            last = last && high == h;
            h = high;
        }
        m->r[TIME] = last ? until : before.r[TIME] + h;
        settle(m);
        if (!isfinite(m->r[CURRENT]) || !isfinite(m->r[SPEED]) || m->r[TIME] <= before.r[TIME])
            return m->r[TIME] >= until && isfinite(m->r[CURRENT]) && isfinite(m->r[SPEED]);
    }
    return 1;
}

/* Values that no motor has. */
static const char *impossible(const Motor *m)
{
    const double *r = m->r;
    if (!(r[TERMINAL_RESISTANCE] > 0.0))
        return "terminal_resistance must be above 0";
    if (!(r[ARMATURE_INDUCTANCE] > 0.0))
        return "armature_inductance must be above 0";
    if (!(r[ROTOR_INERTIA] + r[ADDED_INERTIA] > 0.0))
        return "rotor_inertia + added_inertia must be above 0";
    if (!(r[BRUSH_SCALE] > 0.0))
        return "brush_scale must be above 0";
    if (!(r[EDDY_SHARE] >= 0.0 && r[EDDY_SHARE] < 1.0))
        return "eddy_share must be 0 to below 1";
    return NULL;
}

/* What the interfaces of both versions have in common. */

static const int indicator_variable[INDICATORS] = {HOLDING, BREAKAWAY};

/* The first n of `count` variables, evaluated. */
static void get_several(Motor *m, const int at[], size_t count, double values[], size_t n)
{
    size_t k;
    evaluate(m);
    for (k = 0; k < n && k < count; k++)
        values[k] = m->r[at[k]];
}

static void set_states(Motor *m, const double values[], size_t n)
{
    size_t k;
    for (k = 0; k < n && k < STATES; k++)
        m->r[state_variable[k]] = values[k];
}

static void get_nominals(double values[], size_t n)
{
    static const double nominal[STATES] = STATE_NOMINALS;
    memcpy(values, nominal, (n < STATES ? n : STATES) * sizeof *values);
}

/* A copy of `from` in `*copy`, which is made where there is none; returns 0 where memory is out. */
static int copy_motor(void **copy, const void *from)
{
    if (!*copy)
        *copy = malloc(sizeof(Motor));
    if (*copy)
        memcpy(*copy, from, sizeof(Motor));
    return *copy != NULL;
}
