#!/usr/bin/env python3
"""What a busy link costs: a simulator of 200 signals at 60 states a second, and the program's processor time.

    load.py PROGRAM [SECONDS]

Runs PROGRAM `fly` on a book of 200 signals made here, by the link protocol on loopback, and prints its share of one core
after the first three seconds (Linux: /proc).
"""

import json, math, os, socket, subprocess, sys, tempfile, time

SIGNALS, HZ = 200, 60
program, seconds = sys.argv[1], float(sys.argv[2]) if len(sys.argv) > 2 else 20.0
names = [f"load_{i}_pct" for i in range(SIGNALS)]


def used(pid):
    with open(f"/proc/{pid}/stat") as f:
        fields = f.read().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


with tempfile.TemporaryDirectory() as folder:
    with open(os.path.join(folder, "book.toml"), "w") as f:
        f.write('[book]\ntitle = "load"\nfirst_phase = "a"\nuse = ["common"]\n[phases.a]\ntitle = "a"\nnext = []\n')
        for name in names:
            f.write(f'[signals.{name}]\ntitle = "{name}"\nkind = "number"\n')
    server = socket.create_server(("127.0.0.1", 0))
    link = f"tcp:127.0.0.1:{server.getsockname()[1]}"
    child = subprocess.Popen(
        [program, "fly", "--typed", "--book", folder, "--link", link, "--journal", os.path.join(folder, "j.jsonl")],
        stdin=subprocess.PIPE,
        stdout=subprocess.DEVNULL,
    )
    peer, _ = server.accept()
    peer.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    peer.setblocking(False)

    def send(**message):
        peer.sendall((json.dumps(message) + "\n").encode())

    send(type="hello", protocol=1, program="load")
    send(type="describe", signals={n: {} for n in names})
    began = time.monotonic()
    at, before, heard = began, None, b""
    while time.monotonic() - began < 3 + seconds:
        now = time.monotonic() - began
        send(type="state", time_s=now, values={n: 50 + 40 * math.sin(now + i) for i, n in enumerate(names)})
        try:
            *lines, heard = (heard + peer.recv(65536)).split(b"\n")
            for m in map(json.loads, lines):
                if m["type"] == "ping":
                    send(type="pong", n=m["n"])
        except BlockingIOError:
            pass
        if before is None and now > 3:
            before = (used(child.pid), now)
        at += 1 / HZ
        time.sleep(max(0.0, at - time.monotonic()))
    cpu, wall = used(child.pid) - before[0], time.monotonic() - began - before[1]
    size = os.path.getsize(os.path.join(folder, "j.jsonl"))
    child.stdin.close()
    child.wait(10)
    print(f"{SIGNALS} signals, all changing, at {HZ} Hz: {100 * cpu / wall:.1f} % of one core; journal {size / (wall + 3) / 1e3:.0f} kB/s")
