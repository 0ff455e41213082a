"""Writes jet_reference.csv: the standard atmosphere and two jet transports as another flight dynamics model has them.

    python3 -m venv /some/folder && /some/folder/bin/pip install -r jet_reference.txt
    /some/folder/bin/python jet_reference.py            writes the file beside this script
    /some/folder/bin/python jet_reference.py --check    exit 1 if it would change

JSBSim is only run; none of its code or data is copied, and only the numbers it computes are kept. Two flight models that
it brings along, named by their files below, stand for a twin of about 50 t and for a large transport with four engines.
They are other aircraft than ours: only the order of magnitude is compared. One row: aircraft, what, pressure altitude ft,
calibrated airspeed kt, mass kg, result. Version and licence stand in jet_reference.txt.
"""

import os
import sys

import jsbsim

LB, FT, N_LBF = 0.45359237, 0.3048, 4.4482216
# file of the flight model, engines, largest contents of its tanks, lb
TWIN = ("737", 2, [10200, 10200, 15000])
FOUR = ("B747", 4, [60000, 60000, 60000, 60000, 60000])
rows = []


def row(who, what, altitude, speed, mass, result):
    rows.append(",".join([who, what, "%g" % altitude, "%g" % speed, "%g" % mass, "%.8g" % result]))


def model(name):
    fdm = jsbsim.FGFDMExec(None)
    fdm.set_debug_level(0)
    fdm.load_model(name)
    fdm.set_dt(1.0 / 120.0)
    return fdm


def load(fdm, tanks, kg):
    part = (kg / LB - fdm["inertia/empty-weight-lbs"]) / sum(tanks)
    assert 0 < part <= 1, "the tanks hold what is missing"
    for i, most in enumerate(tanks):
        fdm["propulsion/tank[%d]/contents-lbs" % i] = most * part


def total(fdm, engines, what):
    return sum(fdm["propulsion/engine[%d]/%s" % (i, what)] for i in range(engines))


def atmosphere():
    fdm = model(TWIN[0])
    for feet in (0, 3000, 8000, 14500, 21000, 27500, 34000, 39000):
        fdm["ic/h-sl-ft"] = feet
        fdm["ic/vc-kts"] = 250
        fdm.run_ic()
        row("atmosphere", "temperature_k", feet, 0, 0, fdm["atmosphere/T-R"] / 1.8)
        row("atmosphere", "pressure_hpa", feet, 0, 0, fdm["atmosphere/P-psf"] * N_LBF / FT**2 / 100)
        row("atmosphere", "density_kg_m3", feet, 0, 0, fdm["atmosphere/rho-slugs_ft3"] * 14.5939029 / FT**3)
        row("atmosphere", "sound_m_s", feet, 0, 0, fdm["atmosphere/a-fps"] * FT)


def flight(who, plane, kg):
    name, engines, tanks = plane
    for feet, speed in ((5000, 250), (10000, 250), (24000, 280), (33000, 255)):
        fdm = model(name)
        fdm["ic/h-sl-ft"], fdm["ic/vc-kts"], fdm["ic/gamma-deg"] = feet, speed, 0
        fdm["gear/gear-cmd-norm"] = fdm["gear/gear-pos-norm"] = 0
        load(fdm, tanks, kg)
        fdm.run_ic()
        fdm["propulsion/set-running"] = -1
        fdm.do_trim(1)
        drag = total(fdm, engines, "thrust-lbs") * N_LBF
        row(who, "level_thrust_n", feet, speed, kg, drag)
        for _ in range(240):
            fdm.run()
        row(who, "fuel_kgh", feet, speed, kg, total(fdm, engines, "fuel-flow-rate-pps") * 3600 * LB)
        for i in range(engines):
            fdm["fcs/throttle-cmd-norm[%d]" % i] = 1
        for _ in range(120 * 8):
            fdm.run()
        row(who, "full_thrust_n", feet, speed, kg, total(fdm, engines, "thrust-lbs") * N_LBF)


def takeoff(who, plane, kg):
    name, engines, tanks = plane
    fdm = model(name)
    fdm["ic/h-sl-ft"], fdm["ic/vc-kts"] = 0, 0
    fdm["gear/gear-cmd-norm"] = 1
    load(fdm, tanks, kg)
    fdm.run_ic()
    fdm["propulsion/set-running"] = -1
    fdm["fcs/flap-cmd-norm"] = 0.25
    fdm["fcs/left-brake-cmd-norm"] = fdm["fcs/right-brake-cmd-norm"] = 1
    for i in range(engines):
        fdm["fcs/throttle-cmd-norm[%d]" % i] = 1
    for _ in range(120 * 12):
        fdm.run()
    fdm["fcs/left-brake-cmd-norm"] = fdm["fcs/right-brake-cmd-norm"] = 0
    begin, start = fdm.get_sim_time(), fdm["position/distance-from-start-mag-mt"]
    for speed in (80, 100, 120, 135):
        while fdm["velocities/vc-kts"] < speed:
            fdm.run()
            assert fdm.get_sim_time() - begin < 90
        row(who, "roll_time_s", 0, speed, kg, fdm.get_sim_time() - begin)
        row(who, "roll_distance_m", 0, speed, kg, fdm["position/distance-from-start-mag-mt"] - start)


def main():
    atmosphere()
    flight("twin", TWIN, 50000)
    takeoff("twin", TWIN, 52000)
    flight("four", FOUR, 250000)
    takeoff("four", FOUR, 250000)
    text = "who,what,altitude_ft,cas_kt,mass_kg,result\n" + "\n".join(rows) + "\n"
    path = os.path.join(os.path.dirname(os.path.abspath(__file__)), "jet_reference.csv")
    if "--check" in sys.argv:
        with open(path, encoding="utf-8") as f:
            same = f.read() == text
        print("jet_reference.csv is", "up to date" if same else "not what JSBSim computes")
        sys.exit(0 if same else 1)
    with open(path, "w", encoding="utf-8") as f:
        f.write(text)
    print(len(rows), "points")


main()
