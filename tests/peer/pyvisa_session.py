"""A whole session with the simulated supply by PyVISA: an independent client, written from its manual alone.

Usage: pyvisa_session.py RESOURCE    (TCPIP0::127.0.0.1::PORT::SOCKET or ASRL/dev/pts/N::INSTR)

The supply must have a 24 V operator panel connected that starts at power, and leave the output to the client.
Prints one line a step; ends with a traceback at the first thing that is not as the standards say.
"""

import sys
import time

import pyvisa

OFF_VOLTS = 0.05
# About 7.3 W at 24 V, a unit's tolerance and a pulse of 0.8 W about it.
RUNNING_AMPS = (0.24, 0.42)
# The simulated bench runs ten times faster than real time, and its board needs some twenty of its seconds.
BOOT_SECONDS = 3.5


def expect(what, found, wanted):
    assert found == wanted, f"{what}: {found!r}, expected {wanted!r}"
    print(f"{what}: {found}")


def errors(supply):
    """Empties the error queue (SCPI-1999 volume 2, 21.8): numbers until 0."""
    numbers = []
    while True:
        number, text = supply.query("SYST:ERR?").split(",", 1)
        assert text.startswith('"') and text.endswith('"'), text
        if int(number) == 0:
            return numbers
        numbers.append(int(number))


def identify(supply):
    fields = supply.query("*IDN?").split(",")
    expect("identification fields (IEEE 488.2 10.14)", len(fields), 4)
    expect("standard", supply.query("SYST:VERS?"), "1999.0")
    expect("power-on event (IEEE 488.2 11.5.1)", int(supply.query("*ESR?")) & 128, 128)
    expect("self-test", supply.query("*TST?"), "0")
    supply.write("*CLS")


def set_and_read_back(supply):
    supply.write("OUTP OFF")
    expect("output", supply.query("OUTP?"), "0")
    supply.write("VOLT 24;CURR 1.5")
    expect("set volts", supply.query_ascii_values("VOLT?"), [24.0])
    supply.write(":SOURCE:CURRENT:LEVEL 1500 mA")
    expect("set amps", supply.query_ascii_values("curr?"), [1.5])
    volts, amps = supply.query_ascii_values("MEAS:VOLT?;CURR?", separator=";")
    assert volts < OFF_VOLTS and amps == 0.0, (volts, amps)
    print(f"off: {volts} V {amps} A")


def boot(supply, seconds):
    """Switches on and watches the board come up: first little, then most, then its running level."""
    supply.write("OUTP ON")
    expect("operation complete", supply.query("*OPC?"), "1")
    expect("output", supply.query("OUTP?"), "1")
    begin, seen = time.monotonic(), []
    while time.monotonic() - begin < seconds:
        volts, amps = supply.query_ascii_values("MEAS:VOLT?;CURR?", separator=";")
        seen.append(amps)
    assert abs(volts - 24.0) < 0.1, volts
    assert min(a for a in seen if a > 0) < 0.1, min(seen)
    assert max(seen) > RUNNING_AMPS[1] > amps > RUNNING_AMPS[0], (max(seen), amps)
    print(f"boot: {len(seen)} readings, last {volts} V {amps} A, most {max(seen)} A")
    expect("constant voltage", int(supply.query("STAT:QUES:COND?")), 2)


def slip(supply):
    """Errors have the numbers of SCPI-1999 and change nothing."""
    for message, number in [
        ("VOLTS 5", -113),
        ("VOLT", -109),
        ("VOLT 1,2", -108),
        ("VOLT 99", -222),
        ("VOLT 5A", -131),
        ("MEAS:VOLT?;MEAS:CURR?", -113),
    ]:
        supply.write(message)
        if "?" in message:
            supply.read()
        expect(f"error of {message!r}", errors(supply), [number])
    for _ in range(40):
        supply.write("NONSENSE")
    queue = errors(supply)
    expect("end of a full queue", queue[-1], -350)
    expect("command error event", int(supply.query("*ESR?")) & 32, 32)
    expect("volts after all that", supply.query_ascii_values("VOLT?"), [24.0])


def limit(supply):
    """Into the limit: constant current, the volts give way."""
    supply.write("CURR 0.05")
    deadline = time.monotonic() + 10
    while int(supply.query("STAT:QUES:COND?")) != 1 and time.monotonic() < deadline:
        pass
    expect("constant current", int(supply.query("STAT:QUES:COND?")), 1)
    supply.write("CURR 1.5")


def switch_off(supply):
    supply.write("OUTP OFF")
    expect("output", supply.query("OUTP?"), "0")
    deadline = time.monotonic() + 10
    amps = None
    while amps != 0.0 and time.monotonic() < deadline:
        (amps,) = supply.query_ascii_values("MEAS:CURR?")
    expect("amps when off", amps, 0.0)
    expect("errors left", errors(supply), [])


def main():
    manager = pyvisa.ResourceManager("@py")
    supply = manager.open_resource(sys.argv[1], read_termination="\n", write_termination="\n", timeout=10_000)
    identify(supply)
    set_and_read_back(supply)
    boot(supply, seconds=BOOT_SECONDS)
    slip(supply)
    limit(supply)
    switch_off(supply)
    supply.close()
    print("session complete")


if __name__ == "__main__":
    main()
