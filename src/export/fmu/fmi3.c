/* The interface of the Functional Mock-up Interface 3.0, model exchange and co-simulation. */
#include <stdbool.h>
#include <stdint.h>

#if defined(__GNUC__)
#pragma GCC diagnostic ignored "-Wunused-parameter"
#endif
#if defined(_WIN32)
#define EXPORT __declspec(dllexport)
#else
#define EXPORT __attribute__((visibility("default")))
#endif

typedef void *fmi3Instance;
typedef void *fmi3InstanceEnvironment;
typedef void *fmi3FMUState;
typedef uint32_t fmi3ValueReference;
typedef double fmi3Float64;
typedef bool fmi3Boolean;
typedef const char *fmi3String;
typedef uint8_t fmi3Byte;
typedef const fmi3Byte *fmi3Binary;
typedef bool fmi3Clock;
typedef enum { fmi3OK, fmi3Warning, fmi3Discard, fmi3Error, fmi3Fatal } fmi3Status;
typedef int fmi3DependencyKind;
typedef int fmi3IntervalQualifier;
typedef void (*fmi3LogMessageCallback)(fmi3InstanceEnvironment, fmi3Status, fmi3String, fmi3String);
typedef void (*fmi3IntermediateUpdateCallback)(fmi3InstanceEnvironment, fmi3Float64, fmi3Boolean, fmi3Boolean,
                                               fmi3Boolean, fmi3Boolean, fmi3Boolean *, fmi3Float64 *);
typedef void (*fmi3ClockUpdateCallback)(fmi3InstanceEnvironment);
typedef void (*fmi3LockPreemptionCallback)(void);

typedef struct {
    Motor motor;
    fmi3LogMessageCallback log;
    fmi3InstanceEnvironment environment;
} Instance;

static fmi3Status fault(Instance *c, const char *message)
{
    if (c && c->log)
        c->log(c->environment, fmi3Error, "logStatusError", message);
    return fmi3Error;
}

EXPORT const char *fmi3GetVersion(void) { return "3.0"; }

EXPORT fmi3Status fmi3SetDebugLogging(fmi3Instance c, fmi3Boolean on, size_t n, const fmi3String categories[])
{
    return fmi3OK;
}

static fmi3Instance instantiate(fmi3String token, fmi3InstanceEnvironment environment, fmi3LogMessageCallback log)
{
    Instance *c;
    if (!token || strcmp(token, INSTANTIATION_TOKEN) != 0) {
        if (log)
            log(environment, fmi3Error, "logStatusError",
                "the instantiation token is not the one of this unit's model description");
        return NULL;
    }
    c = calloc(1, sizeof *c);
    if (!c)
        return NULL;
    c->log = log;
    c->environment = environment;
    start(&c->motor);
    return c;
}

EXPORT fmi3Instance fmi3InstantiateModelExchange(fmi3String name, fmi3String token, fmi3String resources,
                                                 fmi3Boolean visible, fmi3Boolean logging,
                                                 fmi3InstanceEnvironment environment, fmi3LogMessageCallback log)
{
    return instantiate(token, environment, log);
}

EXPORT fmi3Instance fmi3InstantiateCoSimulation(fmi3String name, fmi3String token, fmi3String resources,
                                                fmi3Boolean visible, fmi3Boolean logging, fmi3Boolean event_mode,
                                                fmi3Boolean early_return, const fmi3ValueReference intermediate[],
                                                size_t n, fmi3InstanceEnvironment environment,
                                                fmi3LogMessageCallback log, fmi3IntermediateUpdateCallback update)
{
    return instantiate(token, environment, log);
}

EXPORT fmi3Instance fmi3InstantiateScheduledExecution(fmi3String name, fmi3String token, fmi3String resources,
                                                      fmi3Boolean visible, fmi3Boolean logging,
                                                      fmi3InstanceEnvironment environment, fmi3LogMessageCallback log,
                                                      fmi3ClockUpdateCallback clock, fmi3LockPreemptionCallback lock,
                                                      fmi3LockPreemptionCallback unlock)
{
    return NULL;
}

EXPORT void fmi3FreeInstance(fmi3Instance c) { free(c); }

EXPORT fmi3Status fmi3EnterInitializationMode(fmi3Instance c, fmi3Boolean with_tolerance, fmi3Float64 tolerance,
                                              fmi3Float64 from, fmi3Boolean with_end, fmi3Float64 end)
{
    ((Instance *)c)->motor.r[TIME] = from;
    ((Instance *)c)->motor.in_initialization = 1;
    return fmi3OK;
}

EXPORT fmi3Status fmi3ExitInitializationMode(fmi3Instance c)
{
    Motor *m = &((Instance *)c)->motor;
    const char *problem = impossible(m);
    if (problem)
        return fault(c, problem);
    m->in_initialization = 0;
    settle(m);
    return fmi3OK;
}

#define NOTHING(name) EXPORT fmi3Status name(fmi3Instance c) { return fmi3OK; }
NOTHING(fmi3EnterEventMode)
NOTHING(fmi3EnterContinuousTimeMode)
NOTHING(fmi3EnterStepMode)
NOTHING(fmi3Terminate)
NOTHING(fmi3EvaluateDiscreteStates)

#define NEVER(name) EXPORT fmi3Status name(fmi3Instance c) { return fault(c, "this unit has no such mode"); }
NEVER(fmi3EnterConfigurationMode)
NEVER(fmi3ExitConfigurationMode)

EXPORT fmi3Status fmi3Reset(fmi3Instance c)
{
    start(&((Instance *)c)->motor);
    return fmi3OK;
}

EXPORT fmi3Status fmi3GetFloat64(fmi3Instance c, const fmi3ValueReference at[], size_t n, fmi3Float64 values[], size_t m)
{
    Motor *motor = &((Instance *)c)->motor;
    size_t k;
    if (motor->in_initialization && !impossible(motor))
        settle(motor);
    evaluate(motor);
    for (k = 0; k < n && k < m; k++) {
        if (at[k] >= VARIABLES)
            return fault(c, "there is no variable with this value reference");
        values[k] = motor->r[at[k]];
    }
    return fmi3OK;
}

EXPORT fmi3Status fmi3SetFloat64(fmi3Instance c, const fmi3ValueReference at[], size_t n, const fmi3Float64 values[],
                                 size_t m)
{
    size_t k;
    for (k = 0; k < n && k < m; k++) {
        if (at[k] >= VARIABLES || at[k] == TIME)
            return fault(c, "there is no variable with this value reference that can be set");
        ((Instance *)c)->motor.r[at[k]] = values[k];
    }
    return fmi3OK;
}

#define NONE(kind, type) \
    EXPORT fmi3Status fmi3Get##kind(fmi3Instance c, const fmi3ValueReference at[], size_t n, type values[], size_t m) \
    { \
        return n == 0 ? fmi3OK : fault(c, "this unit has variables of type Float64 only"); \
    } \
    EXPORT fmi3Status fmi3Set##kind(fmi3Instance c, const fmi3ValueReference at[], size_t n, const type values[], \
                                    size_t m) \
    { \
        return n == 0 ? fmi3OK : fault(c, "this unit has variables of type Float64 only"); \
    }
NONE(Float32, float)
NONE(Int8, int8_t)
NONE(UInt8, uint8_t)
NONE(Int16, int16_t)
NONE(UInt16, uint16_t)
NONE(Int32, int32_t)
NONE(UInt32, uint32_t)
NONE(Int64, int64_t)
NONE(UInt64, uint64_t)
NONE(Boolean, fmi3Boolean)
NONE(String, fmi3String)

EXPORT fmi3Status fmi3GetBinary(fmi3Instance c, const fmi3ValueReference at[], size_t n, size_t sizes[],
                                fmi3Binary values[], size_t m)
{
    return n == 0 ? fmi3OK : fault(c, "this unit has variables of type Float64 only");
}

EXPORT fmi3Status fmi3SetBinary(fmi3Instance c, const fmi3ValueReference at[], size_t n, const size_t sizes[],
                                const fmi3Binary values[], size_t m)
{
    return n == 0 ? fmi3OK : fault(c, "this unit has variables of type Float64 only");
}

/* Clocks: there are none. */
#define NO_CLOCK(name, ...) \
    EXPORT fmi3Status name(fmi3Instance c, const fmi3ValueReference at[], size_t n, __VA_ARGS__) \
    { \
        return n == 0 ? fmi3OK : fault(c, "this unit has no clocks"); \
    }
NO_CLOCK(fmi3GetClock, fmi3Clock values[])
NO_CLOCK(fmi3SetClock, const fmi3Clock values[])
NO_CLOCK(fmi3GetIntervalDecimal, fmi3Float64 intervals[], fmi3IntervalQualifier qualifiers[])
NO_CLOCK(fmi3GetIntervalFraction, uint64_t counters[], uint64_t resolutions[], fmi3IntervalQualifier qualifiers[])
NO_CLOCK(fmi3GetShiftDecimal, fmi3Float64 shifts[])
NO_CLOCK(fmi3GetShiftFraction, uint64_t counters[], uint64_t resolutions[])
NO_CLOCK(fmi3SetIntervalDecimal, const fmi3Float64 intervals[])
NO_CLOCK(fmi3SetIntervalFraction, const uint64_t counters[], const uint64_t resolutions[])
NO_CLOCK(fmi3SetShiftDecimal, const fmi3Float64 shifts[])
NO_CLOCK(fmi3SetShiftFraction, const uint64_t counters[], const uint64_t resolutions[])

EXPORT fmi3Status fmi3ActivateModelPartition(fmi3Instance c, fmi3ValueReference clock, fmi3Float64 time)
{
    return fault(c, "this unit has no clocks");
}

EXPORT fmi3Status fmi3GetNumberOfVariableDependencies(fmi3Instance c, fmi3ValueReference at, size_t *n)
{
    return fault(c, "this unit gives no dependencies");
}

EXPORT fmi3Status fmi3GetVariableDependencies(fmi3Instance c, fmi3ValueReference at, size_t elements[],
                                              fmi3ValueReference independents[], size_t of_independents[],
                                              fmi3DependencyKind kinds[], size_t n)
{
    return fault(c, "this unit gives no dependencies");
}

#define NO_DERIVATIVE(name) \
    EXPORT fmi3Status name(fmi3Instance c, const fmi3ValueReference unknowns[], size_t n, \
                           const fmi3ValueReference knowns[], size_t m, const fmi3Float64 seed[], size_t n_seed, \
                           fmi3Float64 result[], size_t n_result) \
    { \
        return fault(c, "this unit gives no such derivatives"); \
    }
NO_DERIVATIVE(fmi3GetDirectionalDerivative)
NO_DERIVATIVE(fmi3GetAdjointDerivative)

EXPORT fmi3Status fmi3GetOutputDerivatives(fmi3Instance c, const fmi3ValueReference at[], size_t n,
                                           const int32_t orders[], fmi3Float64 values[], size_t m)
{
    return fault(c, "derivatives of outputs are not given");
}

/* The state of the unit as a value. */

EXPORT fmi3Status fmi3GetFMUState(fmi3Instance c, fmi3FMUState *state)
{
    return copy_motor(state, &((Instance *)c)->motor) ? fmi3OK : fault(c, "out of memory");
}

EXPORT fmi3Status fmi3SetFMUState(fmi3Instance c, fmi3FMUState state)
{
    memcpy(&((Instance *)c)->motor, state, sizeof(Motor));
    return fmi3OK;
}

EXPORT fmi3Status fmi3FreeFMUState(fmi3Instance c, fmi3FMUState *state)
{
    free(*state);
    *state = NULL;
    return fmi3OK;
}

EXPORT fmi3Status fmi3SerializedFMUStateSize(fmi3Instance c, fmi3FMUState state, size_t *size)
{
    *size = sizeof(Motor);
    return fmi3OK;
}

EXPORT fmi3Status fmi3SerializeFMUState(fmi3Instance c, fmi3FMUState state, fmi3Byte bytes[], size_t size)
{
    if (size < sizeof(Motor))
        return fault(c, "the buffer is smaller than a serialized state");
    memcpy(bytes, state, sizeof(Motor));
    return fmi3OK;
}

EXPORT fmi3Status fmi3DeserializeFMUState(fmi3Instance c, const fmi3Byte bytes[], size_t size, fmi3FMUState *state)
{
    if (size != sizeof(Motor))
        return fault(c, "these bytes are not a serialized state of this unit");
    return copy_motor(state, bytes) ? fmi3OK : fault(c, "out of memory");
}

/* Model exchange. */

EXPORT fmi3Status fmi3UpdateDiscreteStates(fmi3Instance c, fmi3Boolean *again, fmi3Boolean *end, fmi3Boolean *nominals,
                                           fmi3Boolean *values, fmi3Boolean *next_defined, fmi3Float64 *next)
{
    *values = settle(&((Instance *)c)->motor) != 0;
    *again = *end = *nominals = *next_defined = false;
    *next = 0.0;
    return fmi3OK;
}

EXPORT fmi3Status fmi3CompletedIntegratorStep(fmi3Instance c, fmi3Boolean no_set, fmi3Boolean *event, fmi3Boolean *end)
{
    *event = *end = false;
    return fmi3OK;
}

EXPORT fmi3Status fmi3SetTime(fmi3Instance c, fmi3Float64 time)
{
    ((Instance *)c)->motor.r[TIME] = time;
    return fmi3OK;
}

EXPORT fmi3Status fmi3SetContinuousStates(fmi3Instance c, const fmi3Float64 values[], size_t n)
{
    set_states(&((Instance *)c)->motor, values, n);
    return fmi3OK;
}

EXPORT fmi3Status fmi3GetContinuousStateDerivatives(fmi3Instance c, fmi3Float64 values[], size_t n)
{
    get_several(&((Instance *)c)->motor, rate_variable, STATES, values, n);
    return fmi3OK;
}

EXPORT fmi3Status fmi3GetEventIndicators(fmi3Instance c, fmi3Float64 values[], size_t n)
{
    get_several(&((Instance *)c)->motor, indicator_variable, INDICATORS, values, n);
    return fmi3OK;
}

EXPORT fmi3Status fmi3GetContinuousStates(fmi3Instance c, fmi3Float64 values[], size_t n)
{
    get_several(&((Instance *)c)->motor, state_variable, STATES, values, n);
    return fmi3OK;
}

EXPORT fmi3Status fmi3GetNominalsOfContinuousStates(fmi3Instance c, fmi3Float64 values[], size_t n)
{
    get_nominals(values, n);
    return fmi3OK;
}

EXPORT fmi3Status fmi3GetNumberOfEventIndicators(fmi3Instance c, size_t *n)
{
    *n = INDICATORS;
    return fmi3OK;
}

EXPORT fmi3Status fmi3GetNumberOfContinuousStates(fmi3Instance c, size_t *n)
{
    *n = STATES;
    return fmi3OK;
}

/* Co-simulation. */

EXPORT fmi3Status fmi3DoStep(fmi3Instance c, fmi3Float64 from, fmi3Float64 size, fmi3Boolean no_set,
                             fmi3Boolean *event, fmi3Boolean *end, fmi3Boolean *early, fmi3Float64 *last)
{
    Motor *m = &((Instance *)c)->motor;
    m->r[TIME] = from;
    *event = *end = *early = false;
    if (!simulate(m, from + size)) {
        *last = m->r[TIME];
        return fault(c, "the states are no longer numbers; the parameters or inputs are far beyond a motor's");
    }
    *last = m->r[TIME];
    return fmi3OK;
}
