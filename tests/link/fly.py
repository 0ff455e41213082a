#!/usr/bin/env python3
"""Flies a flight model of the open-source library JSBSim as a process of its own: the oracle of the link's tests.

    fly.py --root FOLDER --aircraft NAME --log FILE --commands PORT --state PORT [--rate R] [--fast F] [--hz N] [--plan PLAN]

The model runs in step with the clock on the wall: takeoff and go-around R times as fast, what lies between F times. It
understands `get` and `set` on the TCP port COMMANDS and sends rows to the UDP port STATE, N a simulated second. This script is the pilot flying: thrust, pitch, bank
and direction by simple laws. Gear and flaps it leaves to whoever speaks to the TCP port. Every step of the model is
written to the log with the time on the wall: what the callouts are held against.
"""

import argparse
import os
import sys
import tempfile
import time
import types

DT = 1.0 / 120.0

# How each model is flown: a twin jet, a four-engine jet, a light single. Numbers found by trying.
AIRCRAFT = {
    "737": dict(engines=2, rest_ft=3.7, flaps=0.25, rotate_kt=140, pitch=11.0, approach_kt=150, base=4.0, cruise=0.62, trim=0.0),
    "B747": dict(engines=4, rest_ft=13.5, flaps=0.4, rotate_kt=155, pitch=10.0, approach_kt=165, base=5.0, cruise=0.55, trim=0.0),
    "c172x": dict(engines=1, rest_ft=4.3, flaps=1 / 3, rotate_kt=55, pitch=7.0, approach_kt=70, base=3.0, cruise=0.65, trim=0.0),
}

COLUMNS = [
    "simulation/sim-time-sec",
    "velocities/vc-kts",
    "position/h-agl-ft",
    "position/h-sl-ft",
    "velocities/h-dot-fps",
    "gear/wow",
    "gear/gear-pos-norm",
    "fcs/flap-pos-norm",
    "fcs/throttle-cmd-norm",
    "attitude/theta-deg",
]


def clamp(x, low, high):
    return max(low, min(high, x))


def script(args, folder, rest_ft):
    """The run script and the place to begin in."""
    with open(os.path.join(folder, "begin.xml"), "w") as f:
        zero = "".join(f'<{n} unit="FT/SEC">0</{n}>' for n in ("ubody", "vbody", "wbody"))
        f.write(
            f'<?xml version="1.0"?><initialize name="begin">{zero}<latitude unit="DEG">47</latitude>'
            f'<longitude unit="DEG">8</longitude><psi unit="DEG">90</psi><altitude unit="FT">{rest_ft}</altitude></initialize>'
        )
    rows = "".join(f"<property>{c}</property>" for c in COLUMNS[1:])
    path = os.path.join(folder, "run.xml")
    with open(path, "w") as f:
        f.write(
            f'<?xml version="1.0"?><runscript name="oracle"><use aircraft="{args.aircraft}" initialize="{folder}/begin"/>'
            f'<input port="{args.commands}"/>'
            f'<output name="127.0.0.1" type="SOCKET" protocol="UDP" port="{args.state}" rate="{args.hz}">{rows}</output>'
            f'<run start="0" end="100000" dt="{DT:.9f}"></run></runscript>'
        )
    return path


class Pilot:
    """Runs the plan: hold, roll, rotate, climb, level off, descend, go around."""

    def __init__(self, fdm, how, args):
        self.fdm, self.how, self.args = fdm, how, args
        self.stage, self.pitch, self.throttle, self.since = "hold", 0.0, 0.0, 0.0
        self.trim = how["trim"]
        self.level_ft = 0.0

    def go(self, stage, now):
        self.stage, self.since = stage, now
        print(f"{now:.2f} {stage}", flush=True)

    def between(self, agl):
        """Whether it is neither taking off nor coming to the go-around."""
        return self.stage == "level" or (self.stage == "climb" and agl > 1100) or (self.stage == "descent" and agl > 700)

    def step(self, now):
        f, how = self.fdm, self.how
        ias, agl = f["velocities/vc-kts"], f["position/h-agl-ft"] - how["rest_ft"]
        climb_fpm = f["velocities/h-dot-fps"] * 60
        throttle, pitch, brake = self.throttle, None, 0.0
        if self.stage == "hold":
            throttle, brake = 0.0, 1.0
            if now > self.args.hold:
                self.go("roll", now)
        elif self.stage == "roll":
            throttle = 1.0
            if ias >= how["rotate_kt"]:
                self.go("climb", now)
        elif self.stage in ("climb", "around"):
            throttle, pitch = 1.0, how["pitch"]
            if self.args.plan == "takeoff" or self.stage == "around":
                if agl > 1250:
                    self.go("end", now)
            elif agl > 1600 - 0.06 * climb_fpm:
                self.level_ft = 1600
                self.go("level", now)
        elif self.stage == "level":
            pitch = how["base"] + clamp((self.level_ft - agl) * 0.02 - climb_fpm * 0.004, -8, 8)
            throttle = clamp(how["cruise"] + (how["approach_kt"] - ias) * 0.02, 0.0, 1.0)
            if now - self.since > 40:
                self.go("descent", now)
        elif self.stage == "descent":
            pitch = how["base"] + clamp((-900 - climb_fpm) * 0.012, -8, 8)
            throttle = clamp(how["cruise"] - 0.25 + (how["approach_kt"] - ias) * 0.02, 0.0, 1.0)
            if agl < 300:
                self.go("around", now)
        elif self.stage == "end":
            throttle, pitch = 0.9, how["pitch"]
        # Levers do not leap.
        self.throttle += clamp(throttle - self.throttle, -0.5 * DT, 0.5 * DT)
        for i in range(how["engines"]):
            f[f"fcs/throttle-cmd-norm[{i}]"] = self.throttle
        f["fcs/left-brake-cmd-norm"] = f["fcs/right-brake-cmd-norm"] = brake
        theta, q = f["attitude/theta-deg"], f["velocities/q-rad_sec"] * 57.2958
        if pitch is None:
            self.pitch, elevator = theta, 0.0
        else:
            self.pitch += clamp(pitch - self.pitch, -3 * DT, 3 * DT)
            error = self.pitch - theta
            self.trim = clamp(self.trim + error * 0.02 * DT, -0.6, 0.6)
            elevator = -(0.06 * error - 0.03 * q + self.trim)
        f["fcs/elevator-cmd-norm"] = clamp(elevator, -1, 1)
        phi, p = f["attitude/phi-deg"], f["velocities/p-rad_sec"] * 57.2958
        f["fcs/aileron-cmd-norm"] = clamp(-0.02 * phi - 0.01 * p, -0.6, 0.6)
        off = (f["attitude/psi-deg"] - 90 + 180) % 360 - 180
        r = f["velocities/r-rad_sec"] * 57.2958
        turn = clamp(-0.03 * off - 0.03 * r, -0.6, 0.6)
        f["fcs/steer-cmd-norm"] = turn
        f["fcs/rudder-cmd-norm"] = -turn if f["gear/wow"] > 0.5 else 0.0
        return ias, agl


def main():
    parser = argparse.ArgumentParser()
    for name in ("root", "aircraft", "log"):
        parser.add_argument("--" + name, required=True)
    for name in ("commands", "state"):
        parser.add_argument("--" + name, required=True, type=int)
    parser.add_argument("--rate", type=float, default=1.0, help="of takeoff and go-around")
    parser.add_argument("--fast", type=float, default=4.0, help="of what lies between")
    parser.add_argument("--hz", type=float, default=20.0)
    parser.add_argument("--hold", type=float, default=10.0, help="simulated seconds before the takeoff roll")
    parser.add_argument("--after", type=float, default=13.0, help="simulated seconds after the plan's end")
    parser.add_argument("--plan", choices=["takeoff", "circuit"], default="takeoff")
    parser.add_argument("--until", type=float, default=900.0, help="simulated seconds at most")
    args = parser.parse_args()
    sys.path.insert(0, os.path.dirname(os.path.abspath(args.root)))
    # The module wants numpy to be there when it is loaded; nothing that is called here makes use of it.
    sys.modules.setdefault("numpy", types.ModuleType("numpy"))
    import jsbsim

    how = AIRCRAFT[args.aircraft]
    jsbsim.FGJSBBase().debug_lvl = 0
    fdm = jsbsim.FGFDMExec(args.root)
    fdm.set_debug_level(0)
    with tempfile.TemporaryDirectory() as folder:
        if not fdm.load_script(script(args, folder, how["rest_ft"])) or not fdm.run_ic():
            sys.exit("the flight model does not load")
        fdm["propulsion/set-running"] = -1
        fdm["gear/gear-cmd-norm"] = 1.0
        fdm["fcs/flap-cmd-norm"] = how["flaps"]
        if args.aircraft == "c172x":
            fdm["fcs/mixture-cmd-norm"] = 0.9
        pilot = Pilot(fdm, how, args)
        due = time.monotonic()
        with open(args.log, "w") as log:
            log.write("wall,sim,ias_kt,radio_height_ft,fpm,gear,flap,gear_cmd,flap_cmd,wow,stage\n")
            print("running", flush=True)
            end = None
            while True:
                wait = due - time.monotonic()
                if wait > 0:
                    time.sleep(wait)
                now = fdm.get_sim_time()
                ias, agl = pilot.step(now)
                if not fdm.run():
                    sys.exit("the flight model has stopped")
                due += DT / (args.fast if pilot.between(agl) else args.rate)
                f = fdm
                log.write(
                    f"{time.time():.6f},{f.get_sim_time():.6f},{f['velocities/vc-kts']:.5f},"
                    f"{f['position/h-agl-ft'] - how['rest_ft']:.4f},{f['velocities/h-dot-fps'] * 60:.1f},"
                    f"{f['gear/gear-pos-norm']:.4f},{f['fcs/flap-pos-norm']:.4f},{f['gear/gear-cmd-norm']:.3f},"
                    f"{f['fcs/flap-cmd-norm']:.4f},{f['gear/wow']:.0f},{pilot.stage}\n"
                )
                if pilot.stage == "end":
                    end = end or now + args.after
                if now > args.until or (end and now > end):
                    break


if __name__ == "__main__":
    main()
