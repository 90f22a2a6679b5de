"""Runs cases through a Functional Mock-up Unit with FMPy and writes their rows as JSON.

usage: run.py UNIT.fmu CASES.json RESULT.json

A case has a kind (cs or me), parameters and start values, the length of a step and the voltage of each; the rows are time, current, speed
and angle after each step. Problems that FMPy's validation finds come first.
"""

import json
import sys
import tempfile

import numpy
from fmpy import extract, read_model_description, simulate_fmu
from fmpy.fmi2 import FMU2Slave
from fmpy.fmi3 import FMU3Slave
from fmpy.validation import validate_fmu

OUTPUTS = ["current", "speed", "angle"]


def co_simulation(unit, description, case):
    references = {v.name: v.valueReference for v in description.modelVariables}
    two = description.fmiVersion == "2.0"
    with tempfile.TemporaryDirectory() as folder:
        extract(unit, folder)
        slave = (FMU2Slave if two else FMU3Slave)(
            guid=description.guid if two else description.instantiationToken,
            unzipDirectory=folder,
            modelIdentifier=description.coSimulation.modelIdentifier,
            instanceName="motor",
        )
        put, get = (slave.setReal, slave.getReal) if two else (slave.setFloat64, slave.getFloat64)
        slave.instantiate()
        for name, value in case["set"].items():
            put([references[name]], [value])
        if two:
            slave.setupExperiment(startTime=0.0)
            slave.enterInitializationMode()
        else:
            slave.enterInitializationMode(startTime=0.0)
        slave.exitInitializationMode()
        rows, time = [], 0.0
        for n, voltage in enumerate(case["voltage"]):
            put([references["terminal_voltage"]], [voltage])
            slave.doStep(currentCommunicationPoint=time, communicationStepSize=case["step"])
            time = (n + 1) * case["step"]
            rows.append([time] + list(get([references[name] for name in OUTPUTS])))
        slave.terminate()
        slave.freeInstance()
    return rows


def model_exchange(unit, case):
    step, voltage = case["step"], case["voltage"]
    points = []
    for n, value in enumerate(voltage):
        points += [(n * step, value), ((n + 1) * step, value)]
    signal = numpy.array(points, dtype=[("time", "f8"), ("terminal_voltage", "f8")])
    result = simulate_fmu(
        unit,
        fmi_type="ModelExchange",
        start_values=case["set"],
        input=signal,
        output=OUTPUTS,
        stop_time=len(voltage) * step,
        output_interval=step,
        relative_tolerance=1e-8,
    )
    # At a change of the voltage there are two rows; the states are the same in both.
    rows, last = [], -1
    for row in result:
        n = round(row["time"] / step)
        if n > last and n > 0 and abs(row["time"] - n * step) < 1e-6 * step:
            rows.append([float(x) for x in row])
        last = max(last, n) if abs(row["time"] - n * step) < 1e-6 * step else last
    return rows


def main():
    unit, cases, result = sys.argv[1:]
    description = read_model_description(unit)
    results = []
    for case in json.load(open(cases)):
        if case["kind"] == "cs":
            results.append(co_simulation(unit, description, case))
        else:
            results.append(model_exchange(unit, case))
    with open(result, "w") as file:
        json.dump({"problems": validate_fmu(unit), "rows": results}, file)


main()
