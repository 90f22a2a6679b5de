/* The interface of the Functional Mock-up Interface 2.0, model exchange and co-simulation. */
#if defined(__GNUC__)
#pragma GCC diagnostic ignored "-Wunused-parameter"
#endif
#if defined(_WIN32)
#define EXPORT __declspec(dllexport)
#else
#define EXPORT __attribute__((visibility("default")))
#endif

typedef double fmi2Real;
typedef int fmi2Integer;
typedef int fmi2Boolean;
typedef char fmi2Char;
typedef const fmi2Char *fmi2String;
typedef char fmi2Byte;
typedef unsigned int fmi2ValueReference;
typedef void *fmi2FMUstate;
typedef void *fmi2Component;
typedef void *fmi2ComponentEnvironment;
typedef enum { fmi2OK, fmi2Warning, fmi2Discard, fmi2Error, fmi2Fatal, fmi2Pending } fmi2Status;
typedef enum { fmi2ModelExchange, fmi2CoSimulation } fmi2Type;
typedef enum { fmi2DoStepStatus, fmi2PendingStatus, fmi2LastSuccessfulTime, fmi2Terminated } fmi2StatusKind;
typedef struct {
    void (*logger)(fmi2ComponentEnvironment, fmi2String, fmi2Status, fmi2String, fmi2String, ...);
    void *(*allocateMemory)(size_t, size_t);
    void (*freeMemory)(void *);
    void (*stepFinished)(fmi2ComponentEnvironment, fmi2Status);
    fmi2ComponentEnvironment componentEnvironment;
} fmi2CallbackFunctions;
typedef struct {
    fmi2Boolean newDiscreteStatesNeeded;
    fmi2Boolean terminateSimulation;
    fmi2Boolean nominalsOfContinuousStatesChanged;
    fmi2Boolean valuesOfContinuousStatesChanged;
    fmi2Boolean nextEventTimeDefined;
    fmi2Real nextEventTime;
} fmi2EventInfo;

typedef struct {
    Motor motor;
    fmi2CallbackFunctions callbacks;
    char name[128];
} Instance;

static fmi2Status fault(Instance *c, const char *message)
{
    if (c && c->callbacks.logger)
        c->callbacks.logger(c->callbacks.componentEnvironment, c->name, fmi2Error, "logStatusError", "%s", message);
    return fmi2Error;
}

EXPORT const char *fmi2GetTypesPlatform(void) { return "default"; }
EXPORT const char *fmi2GetVersion(void) { return "2.0"; }

EXPORT fmi2Status fmi2SetDebugLogging(fmi2Component c, fmi2Boolean on, size_t n, const fmi2String categories[])
{
    return fmi2OK;
}

EXPORT fmi2Component fmi2Instantiate(fmi2String name, fmi2Type type, fmi2String token, fmi2String resources,
                                     const fmi2CallbackFunctions *callbacks, fmi2Boolean visible, fmi2Boolean logging)
{
    Instance *c;
    if (!token || strcmp(token, INSTANTIATION_TOKEN) != 0) {
        if (callbacks && callbacks->logger)
            callbacks->logger(callbacks->componentEnvironment, name, fmi2Error, "logStatusError",
                              "the GUID is not the one of this unit's model description");
        return NULL;
    }
    c = calloc(1, sizeof *c);
    if (!c)
        return NULL;
    if (callbacks)
        c->callbacks = *callbacks;
    strncpy(c->name, name ? name : "", sizeof c->name - 1);
    start(&c->motor);
    return c;
}

EXPORT void fmi2FreeInstance(fmi2Component c) { free(c); }

EXPORT fmi2Status fmi2SetupExperiment(fmi2Component c, fmi2Boolean with_tolerance, fmi2Real tolerance, fmi2Real from,
                                      fmi2Boolean with_end, fmi2Real end)
{
    ((Instance *)c)->motor.r[TIME] = from;
    return fmi2OK;
}

EXPORT fmi2Status fmi2EnterInitializationMode(fmi2Component c)
{
    ((Instance *)c)->motor.in_initialization = 1;
    return fmi2OK;
}

EXPORT fmi2Status fmi2ExitInitializationMode(fmi2Component c)
{
    Motor *m = &((Instance *)c)->motor;
    const char *problem = impossible(m);
    if (problem)
        return fault(c, problem);
    m->in_initialization = 0;
    settle(m);
    return fmi2OK;
}

EXPORT fmi2Status fmi2Terminate(fmi2Component c) { return fmi2OK; }

EXPORT fmi2Status fmi2Reset(fmi2Component c)
{
    start(&((Instance *)c)->motor);
    return fmi2OK;
}

EXPORT fmi2Status fmi2GetReal(fmi2Component c, const fmi2ValueReference at[], size_t n, fmi2Real values[])
{
    Motor *m = &((Instance *)c)->motor;
    size_t k;
    if (m->in_initialization && !impossible(m))
        settle(m);
    evaluate(m);
    for (k = 0; k < n; k++) {
        if (at[k] >= VARIABLES)
            return fault(c, "there is no real variable with this value reference");
        values[k] = m->r[at[k]];
    }
    return fmi2OK;
}

EXPORT fmi2Status fmi2SetReal(fmi2Component c, const fmi2ValueReference at[], size_t n, const fmi2Real values[])
{
    size_t k;
    for (k = 0; k < n; k++) {
        if (at[k] >= VARIABLES || at[k] == TIME)
            return fault(c, "there is no real variable with this value reference that can be set");
        ((Instance *)c)->motor.r[at[k]] = values[k];
    }
    return fmi2OK;
}

#define NONE(name, type, constness) \
    EXPORT fmi2Status name(fmi2Component c, const fmi2ValueReference at[], size_t n, constness type values[]) \
    { \
        return n == 0 ? fmi2OK : fault(c, "this unit has real variables only"); \
    }
NONE(fmi2GetInteger, fmi2Integer, )
NONE(fmi2GetBoolean, fmi2Boolean, )
NONE(fmi2GetString, fmi2String, )
NONE(fmi2SetInteger, fmi2Integer, const)
NONE(fmi2SetBoolean, fmi2Boolean, const)
NONE(fmi2SetString, fmi2String, const)

EXPORT fmi2Status fmi2GetFMUstate(fmi2Component c, fmi2FMUstate *state)
{
    return copy_motor(state, &((Instance *)c)->motor) ? fmi2OK : fault(c, "out of memory");
}

EXPORT fmi2Status fmi2SetFMUstate(fmi2Component c, fmi2FMUstate state)
{
    memcpy(&((Instance *)c)->motor, state, sizeof(Motor));
    return fmi2OK;
}

EXPORT fmi2Status fmi2FreeFMUstate(fmi2Component c, fmi2FMUstate *state)
{
    free(*state);
    *state = NULL;
    return fmi2OK;
}

EXPORT fmi2Status fmi2SerializedFMUstateSize(fmi2Component c, fmi2FMUstate state, size_t *size)
{
    *size = sizeof(Motor);
    return fmi2OK;
}

EXPORT fmi2Status fmi2SerializeFMUstate(fmi2Component c, fmi2FMUstate state, fmi2Byte bytes[], size_t size)
{
    if (size < sizeof(Motor))
        return fault(c, "the buffer is smaller than a serialized state");
    memcpy(bytes, state, sizeof(Motor));
    return fmi2OK;
}

EXPORT fmi2Status fmi2DeSerializeFMUstate(fmi2Component c, const fmi2Byte bytes[], size_t size, fmi2FMUstate *state)
{
    if (size != sizeof(Motor))
        return fault(c, "these bytes are not a serialized state of this unit");
    return copy_motor(state, bytes) ? fmi2OK : fault(c, "out of memory");
}

EXPORT fmi2Status fmi2GetDirectionalDerivative(fmi2Component c, const fmi2ValueReference unknown[], size_t n,
                                               const fmi2ValueReference known[], size_t m, const fmi2Real seed[],
                                               fmi2Real result[])
{
    return fault(c, "this unit gives no directional derivatives");
}

/* Model exchange. */

EXPORT fmi2Status fmi2EnterEventMode(fmi2Component c) { return fmi2OK; }

EXPORT fmi2Status fmi2NewDiscreteStates(fmi2Component c, fmi2EventInfo *info)
{
    memset(info, 0, sizeof *info);
    info->valuesOfContinuousStatesChanged = settle(&((Instance *)c)->motor);
    return fmi2OK;
}

EXPORT fmi2Status fmi2EnterContinuousTimeMode(fmi2Component c) { return fmi2OK; }

EXPORT fmi2Status fmi2CompletedIntegratorStep(fmi2Component c, fmi2Boolean no_set, fmi2Boolean *event, fmi2Boolean *end)
{
    *event = 0;
    *end = 0;
    return fmi2OK;
}

EXPORT fmi2Status fmi2SetTime(fmi2Component c, fmi2Real time)
{
    ((Instance *)c)->motor.r[TIME] = time;
    return fmi2OK;
}

EXPORT fmi2Status fmi2SetContinuousStates(fmi2Component c, const fmi2Real values[], size_t n)
{
    set_states(&((Instance *)c)->motor, values, n);
    return fmi2OK;
}

EXPORT fmi2Status fmi2GetDerivatives(fmi2Component c, fmi2Real values[], size_t n)
{
    get_several(&((Instance *)c)->motor, rate_variable, STATES, values, n);
    return fmi2OK;
}

EXPORT fmi2Status fmi2GetEventIndicators(fmi2Component c, fmi2Real values[], size_t n)
{
    get_several(&((Instance *)c)->motor, indicator_variable, INDICATORS, values, n);
    return fmi2OK;
}

EXPORT fmi2Status fmi2GetContinuousStates(fmi2Component c, fmi2Real values[], size_t n)
{
    get_several(&((Instance *)c)->motor, state_variable, STATES, values, n);
    return fmi2OK;
}

EXPORT fmi2Status fmi2GetNominalsOfContinuousStates(fmi2Component c, fmi2Real values[], size_t n)
{
    get_nominals(values, n);
    return fmi2OK;
}

/* Co-simulation. */

EXPORT fmi2Status fmi2DoStep(fmi2Component c, fmi2Real from, fmi2Real size, fmi2Boolean no_set)
{
    Motor *m = &((Instance *)c)->motor;
    m->r[TIME] = from;
    if (!simulate(m, from + size))
        return fault(c, "the states are no longer numbers; the parameters or inputs are far beyond a motor's");
    return fmi2OK;
}

EXPORT fmi2Status fmi2CancelStep(fmi2Component c) { return fault(c, "no step is pending"); }

EXPORT fmi2Status fmi2SetRealInputDerivatives(fmi2Component c, const fmi2ValueReference at[], size_t n,
                                              const fmi2Integer order[], const fmi2Real values[])
{
    return fault(c, "inputs are not interpolated");
}

EXPORT fmi2Status fmi2GetRealOutputDerivatives(fmi2Component c, const fmi2ValueReference at[], size_t n,
                                               const fmi2Integer order[], fmi2Real values[])
{
    return fault(c, "derivatives of outputs are not given");
}

#define NO_STATUS(name, type) \
    EXPORT fmi2Status name(fmi2Component c, const fmi2StatusKind kind, type *value) \
    { \
        return fmi2Discard; \
    }
NO_STATUS(fmi2GetStatus, fmi2Status)
NO_STATUS(fmi2GetIntegerStatus, fmi2Integer)
NO_STATUS(fmi2GetBooleanStatus, fmi2Boolean)
NO_STATUS(fmi2GetStringStatus, fmi2String)

EXPORT fmi2Status fmi2GetRealStatus(fmi2Component c, const fmi2StatusKind kind, fmi2Real *value)
{
    if (kind != fmi2LastSuccessfulTime)
        return fmi2Discard;
    *value = ((Instance *)c)->motor.r[TIME];
    return fmi2OK;
}
