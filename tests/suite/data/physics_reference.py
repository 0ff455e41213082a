"""Writes physics_reference.csv: points off the printed tables, computed by other people's implementations.

    python3 -m venv /some/folder && /some/folder/bin/pip install -r physics_reference.txt
    /some/folder/bin/python physics_reference.py            writes the file beside this script
    /some/folder/bin/python physics_reference.py --check    exit 1 if it would change

None of their code is copied or linked; only the numbers they print are kept. Versions and licences stand in
physics_reference.txt. One row: what, up to four inputs, the result, and who computed it.
"""

import math
import os
import random
import sys

from ADRpy.atmospheres import Runway
from aerocalc3 import airspeed, std_atm
from ambiance import Atmosphere
from scipy.integrate import solve_ivp

FT, KT = 0.3048, 1852.0 / 3600.0
rows = []


def row(what, inputs, result, who):
    cells = [repr(float(x)) for x in inputs] + [""] * (4 - len(inputs))
    rows.append(",".join([what, *cells, "%.10g" % float(result), who]))


def atmosphere():
    for ft in (-1500, 1234, 4321, 7777, 12345, 16501, 22222, 28765, 33333, 36000, 36180, 38765, 45678, 55555, 65000):
        air = Atmosphere(Atmosphere.geop2geom_height(ft * FT))
        row("temperature_c", [ft], air.temperature[0] - 273.15, "ambiance")
        row("pressure_hpa", [ft], air.pressure[0] / 100.0, "ambiance")
        row("density_kg_m3", [ft], air.density[0], "ambiance")
        row("sound_kt", [ft], air.speed_of_sound[0] / KT, "ambiance")
    for hpa in (987.3, 1031.7, 711.1, 402.9, 243.2, 201.8, 133.3):
        row("pressure_altitude_ft", [hpa], std_atm.press2alt(hpa, press_units="mb", alt_units="ft"), "aerocalc3")
    for ft, c in ((640, 31.5), (2750, -12.0), (5718, 21.111111), (9100, 24.0), (14321, -30.5), (39500, -48.0)):
        row("density_altitude_ft", [ft, c], std_atm.density_alt(ft, c, alt_units="ft", temp_units="C"), "aerocalc3")
    for elevation, qnh in ((0, 1003.4), (1650, 1027.8), (5883, 1019.3), (310, 987.9)):
        feet = std_atm.pressure_alt(elevation, qnh, alt_units="ft")
        row("pressure_altitude_of_ft", [elevation, qnh], feet, "aerocalc3")


def airspeeds():
    chance = random.Random(20)
    for _ in range(24):
        cas, ft = round(chance.uniform(90, 345), 1), float(round(chance.uniform(-900, 41000)))
        mach = airspeed.cas_alt2mach(cas, ft, speed_units="kt", alt_units="ft")
        if mach > 0.94:
            continue
        row("mach_from_cas", [cas, ft], mach, "aerocalc3")
        row("eas_from_cas", [cas, ft], airspeed.cas2eas(cas, ft, speed_units="kt", alt_units="ft"), "aerocalc3")
        tas = airspeed.cas2tas(cas, ft, speed_units="kt", alt_units="ft")
        row("tas_from_cas_isa", [cas, ft], tas, "aerocalc3")
        back = airspeed.tas2cas(tas * 0.97, ft, speed_units="kt", alt_units="ft")
        row("cas_from_tas_isa", [tas * 0.97, ft], back, "aerocalc3")
    for mach, ft in ((0.29, 1700), (0.615, 23450), (0.773, 33900), (0.812, 37650), (0.87, 42100)):
        row("cas_from_mach", [mach, ft], airspeed.mach_alt2cas(mach, ft, alt_units="ft", speed_units="kt"), "aerocalc3")
    for cas, ft, c in ((137.0, 5883, 32.0), (251.0, 11200, -22.0), (287.5, 27350, -29.0)):
        tas = airspeed.cas2tas(cas, ft, temp=c, temp_units="C", speed_units="kt", alt_units="ft")
        row("tas_from_cas", [cas, ft, c], tas, "aerocalc3")
    for cas, mach in ((283, 0.74), (295, 0.771), (310, 0.805), (265, 0.79)):
        feet = airspeed.cas_mach2alt(cas, mach, speed_units="kt", alt_units="ft")
        row("crossover_altitude_ft", [cas, mach], feet, "aerocalc3")


def winds():
    chance = random.Random(21)
    for _ in range(16):
        track, origin = chance.randrange(0, 360), chance.randrange(0, 360)
        speed = round(chance.uniform(2, 48), 1)
        head, cross = Runway(elevation_ft=0, heading=track).windcomponents(origin, speed)
        row("headwind_kt", [origin, speed, track], head, "ADRpy")
        row("crosswind_kt", [origin, speed, track], cross, "ADRpy")


def run(start_kt, end_kt, accel):
    """Time and distance by numerical integration of the motion, not by the closed formula."""
    reached = lambda t, y: y[1] - end_kt * KT
    reached.terminal = True
    out = solve_ivp(lambda t, y: [y[1], accel], [0, 1000], [0.0, start_kt * KT], events=reached, rtol=1e-12, atol=1e-9)
    return out.t_events[0][0], out.y_events[0][0][0]


def rolls():
    for start, end, accel in ((0, 133, 1.73), (0, 151, 2.21), (0, 97, 2.9), (83, 141, 1.94), (12, 128, 1.61)):
        time, distance = run(start, end, accel)
        row("roll_time_s", [start, end, accel], time, "scipy")
        row("roll_distance_m", [start, end, accel], distance, "scipy")
    for v1, accel, stop in ((128, 1.9, 2.7), (141, 2.2, 3.4)):
        total = run(0, v1, accel)[1] + run(v1, 0, -stop)[1] + 2 * v1 * KT
        row("accelerate_stop_m", [v1, accel, stop], total, "scipy")
    for v, wind, accel in ((137, 17, 2.0), (142, -8, 1.8)):
        row("wind_factor", [v, wind], run(0, v - wind, accel)[1] / run(0, v, accel)[1], "scipy")


def main():
    for part in (atmosphere, airspeeds, winds, rolls):
        part()
    text = "what,a,b,c,d,result,who\n" + "\n".join(rows) + "\n"
    path = os.path.join(os.path.dirname(os.path.abspath(__file__)), "physics_reference.csv")
    assert all(math.isfinite(float(line.split(",")[5])) for line in rows)
    if "--check" in sys.argv:
        with open(path, encoding="utf-8") as f:
            same = f.read() == text
        print("physics_reference.csv is", "up to date" if same else "not what these implementations compute")
        sys.exit(0 if same else 1)
    with open(path, "w", encoding="utf-8") as f:
        f.write(text)
    print(len(rows), "points")


main()
