"""Makes the virtual board: Debian's own kernel for arm64 with the pins and probes that it lacks, a root tree with the program, a card.

Everything stands in one cache folder, each part in a folder named after what it was made of, so a second run makes nothing. The kernel's
sources come from the distribution's source package and are never kept here. Root on Debian or a relative of it.
"""

from __future__ import annotations

import hashlib
import inspect
import os
import re
import shutil
import subprocess
import sys
import time
import zipfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
PROJECT = HERE.parents[1]
TOOLS = {
    "qemu-system-aarch64": "qemu-system-arm",
    "qemu-aarch64-static": "qemu-user-static",
    "mmdebstrap": "mmdebstrap",
    "arch-test": "arch-test",
    "dtc": "device-tree-compiler",
    "mke2fs": "e2fsprogs",
    "cpio": "cpio",
    "depmod": "kmod",
    "make": "make",
    "aarch64-linux-gnu-gcc": "gcc-aarch64-linux-gnu",
    "xz": "xz-utils",
    "swig": "swig",
    "/usr/aarch64-linux-gnu/include/stdio.h": "libc6-dev-arm64-cross",
}
"""Programs (or a file) and the packages that bring them."""
IN_THE_ROOT = "systemd,systemd-sysv,udev,dbus,kmod,procps,python3,python3-venv,busybox-static,e2fsprogs,util-linux"
PYTHONS = {"bookworm": "3.11", "trixie": "3.13"}
LGPIO, LGPIO_WHEELS = "lgpio==0.2.2.0", ("3.9", "3.10", "3.11", "3.12")
"""The library for pins, and the Pythons for which the index has it built."""
KERNEL_PARTS = (
    *("kernel/drivers/w1", "kernel/drivers/virtio", "kernel/drivers/block/virtio_blk.ko", "kernel/drivers/char/virtio_console.ko"),
    *("kernel/drivers/leds", "kernel/drivers/hwmon/hwmon.ko", "kernel/drivers/connector", "kernel/fs/ext4", "kernel/fs/jbd2"),
    *("kernel/fs/mbcache.ko", "kernel/fs/configfs", "kernel/fs/autofs", "kernel/lib", "kernel/crypto", "kernel/arch/arm64/crypto"),
)
"""Modules that a board of this kind needs; all others stay out of its tree."""
EARLY = ("virtio_mmio", "virtio_blk", "ext4", "crc32c_generic", "gpio-sim", "leds-gpio", "ledtrig-heartbeat", "ledtrig-default-on")
"""Built into a Pi's kernel, so they come with the first memory disk; the 1-Wire bus is a module there, so udev loads it."""
APART = ("unshare", "--mount")
"""What is mounted by the command behind it is mounted for that command alone, and gone with it however it ends."""
ARM64_MAGIC = r":qemu-aarch64:M::\x7fELF\x02\x01\x01\x00\x00\x00\x00\x00\x00\x00\x00\x00\x02\x00\xb7\x00:" + (
    r"\xff\xff\xff\xff\xff\xff\xff\x00\xff\xff\xff\xff\xff\xff\xff\xff\xfe\xff\xff\xff:/usr/bin/qemu-aarch64-static:OCF"
)
"""How the kernel knows a program for arm64 (ELF: machine 0xb7), to be run by an emulator."""
CARD_MB = 1400


class CannotBeMade(Exception):
    """The board cannot be made on this machine; the text names what is missing."""


@dataclass(frozen=True)
class Made:
    """Files that QEMU is started with."""

    kernel: Path
    early_disk: Path
    device_tree: Path
    card: Path


def cache() -> Path:
    """Where everything made is kept: EVENBATH_BOARD, else a folder of the person's cache."""
    own = os.environ.get("EVENBATH_BOARD")
    return Path(own) if own else Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "evenbath-board"


def say(words: str) -> None:
    """A line of progress."""
    print(f"[{time.strftime('%H:%M:%S')}] {words}", flush=True)


def run(*words: str | Path, cwd: Path | None = None, env: Mapping[str, str] | None = None, into: Path | None = None) -> str:
    """Run a program to its end and give what it printed. Raises `CannotBeMade` with its last words if it fails."""
    command = [str(word) for word in words]
    done = subprocess.run(command, cwd=cwd, env={**os.environ, **(env or {})}, capture_output=True, check=False, stdin=subprocess.DEVNULL)
    if done.returncode:
        last = (done.stderr or done.stdout).decode("utf-8", "replace").strip().splitlines()[-6:]
        raise CannotBeMade(f"{' '.join(command)[:200]} ended with {done.returncode}: {' / '.join(last)}")
    if into is not None:
        into.write_bytes(done.stdout)
        return ""
    return done.stdout.decode("utf-8", "replace")


def tools() -> None:
    """Have what is needed, by the distribution's packages where it is missing."""
    path = f"{os.environ['PATH']}:/usr/sbin:/sbin"
    here = {name for name in TOOLS if shutil.which(name, path=path) or Path(name).is_file()}
    missing = sorted({package for name, package in TOOLS.items() if name not in here})
    if os.getuid() != 0:
        raise CannotBeMade("only root can make the board: it unpacks a system with its owners and mounts inside it")
    if shutil.which("apt-get") is None:
        raise CannotBeMade("apt-get is not here: the board is made from Debian's packages")
    if missing:
        say(f"installing {', '.join(missing)}")
        words = ("-o", "DPkg::Lock::Timeout=400", "install", "-y", "-qq", "--no-install-recommends", *missing)
        run("apt-get", "-qq", "update")
        run("apt-get", *words, env={"DEBIAN_FRONTEND": "noninteractive"})
    binfmt = Path("/proc/sys/fs/binfmt_misc")
    if not (binfmt / "register").exists():
        run("mount", "-t", "binfmt_misc", "none", binfmt)
    if not (binfmt / "qemu-aarch64").exists():
        (binfmt / "register").write_text(ARM64_MAGIC)


def digest(*parts: str | Path) -> str:
    """A short name for what a part is made of: words as they are, files and folders by their content."""
    sum_ = hashlib.sha256()
    for part in parts:
        files = sorted(part.rglob("*")) if isinstance(part, Path) and part.is_dir() else [part]
        for one in files:
            if isinstance(one, str):
                sum_.update(one.encode())
            elif one.is_file() and "__pycache__" not in one.parts:
                sum_.update(str(one.name).encode() + one.read_bytes())
    return sum_.hexdigest()[:12]


def sources(*functions: Callable[..., object]) -> list[str]:
    """The text of these functions: a part is made anew when what makes it has changed."""
    return [inspect.getsource(function) for function in functions]


def part(name: str, of: str, make: Callable[[Path], None]) -> Path:
    """A part of the board, made unless it is there already; older ones of its name go."""
    place = cache() / f"{name}-{of}"
    if not (place / "made").exists():
        for old in cache().glob(f"{name}-*"):
            if any(line.split()[1].startswith(f"{old}/") for line in Path("/proc/mounts").read_text().splitlines()):
                raise CannotBeMade(f"something is mounted below {old}: unmount it, and start again")
            shutil.rmtree(old)
        began_s = time.monotonic()
        say(f"making {name}")
        place.mkdir(parents=True)
        make(place)
        (place / "made").touch()
        say(f"{name}: {time.monotonic() - began_s:.0f} s")
    return place


def mirror() -> str:
    """The mirror of the distribution that this machine is set up for."""
    told = run("apt-get", "indextargets", "--no-release-info", "--format", "$(REPO_URI)", "Created-By: Packages").split()
    found = sorted({uri for uri in told if "security" not in uri})
    if not found:
        raise CannotBeMade("apt knows no mirror of the distribution here: run apt-get update")
    return found[0]


class Suite:
    """One release of Debian for arm64, with an apt of its own beside the machine's."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.folder = cache() / f"apt-{name}"
        self.source = f"deb [signed-by=/usr/share/keyrings/debian-archive-keyring.gpg] {mirror()} {name} main"
        for sub in ("state/lists/partial", "cache/archives/partial"):
            (self.folder / sub).mkdir(parents=True, exist_ok=True)
        (self.folder / "sources.list").write_text(self.source + "\n")
        (self.folder / "apt.conf").write_text(
            f'Dir::State "{self.folder}/state"; Dir::State::status "/dev/null"; Dir::Cache "{self.folder}/cache";\n'
            f'Dir::Etc::sourcelist "{self.folder}/sources.list"; Dir::Etc::sourceparts "-"; APT::Sandbox::User "root";\n'
            'APT::Architecture "arm64"; APT::Architectures { "arm64"; "amd64"; };\n'
        )
        self._env = {"APT_CONFIG": str(self.folder / "apt.conf")}
        newest = self.folder / "state" / "lists"
        if not list(newest.glob("*Packages*")) or time.time() - newest.stat().st_mtime > 7 * 86400:
            run("apt-get", "-qq", "update", env=self._env)

    def kernel(self) -> str:
        """The version of the newest kernel, such as 6.1.0-40."""
        told = run("apt-cache", "depends", "linux-image-arm64", env=self._env)
        found = re.search(r"linux-image-(\S+)-arm64\b", told)
        if found is None:
            raise CannotBeMade(f"{self.name} has no kernel for arm64")
        return found[1]

    def fetch(self, into: Path, *packages: str) -> None:
        """Download packages without installing them."""
        run("apt-get", "-qq", "download", *packages, cwd=into, env=self._env)


def kernel(suite: Suite) -> Path:
    """The kernel, its modules, and the two that Debian does not build: simulated pins (the kernel's own source) and the probes' bus."""
    version = suite.kernel()
    series = ".".join(version.split(".")[:2])

    def make(place: Path) -> None:
        loads = place / "loads"
        loads.mkdir()
        suite.fetch(loads, f"linux-image-{version}-arm64", f"linux-headers-{version}-arm64", f"linux-headers-{version}-common")
        (deb,) = loads.glob("linux-headers-*-arm64_*.deb")
        kbuild = re.search(r"linux-kbuild-[^ ,]+", run("dpkg-deb", "-f", deb, "Depends"))
        assert kbuild is not None, deb
        suite.fetch(loads, f"linux-source-{series}", f"{kbuild[0]}:amd64", "libc6:amd64")
        for deb in loads.glob("linux-headers-*.deb"):
            run("dpkg-deb", "-x", deb, place / "headers")
        for deb in loads.glob("linux-kbuild-*.deb"):
            run("dpkg-deb", "-x", deb, place / "headers")
        for deb in loads.glob("libc6_*.deb"):
            run("dpkg-deb", "-x", deb, place / "libc")
        with_libc(place / "libc", *(place / "headers").glob("usr/lib/*/scripts/mod/modpost.real-lsb-64"))
        (deb,) = loads.glob("linux-image-*.deb")
        run("dpkg-deb", "-x", deb, place / "image")
        headers = place / "headers/usr/src" / f"linux-headers-{version}-arm64"
        makefile = headers / "Makefile"
        makefile.write_text(makefile.read_text().replace("/usr/src/", f"{place}/headers/usr/src/"))
        build = place / "build"
        shutil.copytree(HERE / "kernel", build)
        (deb,) = loads.glob("linux-source-*.deb")
        archive = f"./usr/src/linux-source-{series}.tar.xz"
        wanted = "'*/drivers/gpio/gpio-sim.c' '*/drivers/gpio/gpiolib.h' '*/kernel/irq/irq_sim.c'"
        shell = f"dpkg-deb --fsys-tarfile {deb} | tar -xO {archive} | xz -T0 -dc | tar -x -C {place} --wildcards {wanted}"
        run("bash", "-euo", "pipefail", "-c", shell)
        source = place / f"linux-source-{series}"
        # one call there is not exported to modules; the one that is does the same
        simulated = (source / "kernel/irq/irq_sim.c").read_text()
        simulated = simulated.replace("handle_simple_irq(irq_to_desc(irqnum));", "generic_handle_irq(irqnum);")
        (build / "irq_sim.c").write_text(re.sub(r"^EXPORT_SYMBOL.*$", "", simulated, flags=re.MULTILINE))
        shutil.copy(source / "drivers/gpio/gpio-sim.c", build / "gpio-sim-core.c")
        shutil.copy(source / "drivers/gpio/gpiolib.h", build)
        cross = ("ARCH=arm64", "CROSS_COMPILE=aarch64-linux-gnu-", "CC=aarch64-linux-gnu-gcc")
        # the kernel's own compiler may be newer than this machine's, so how functions are aligned is told in words that both know;
        # types for the tracing of modules are not needed, nor the program that makes them
        without = ("CONFIG_CC_HAS_MIN_FUNCTION_ALIGNMENT=", "CONFIG_DEBUG_INFO_BTF_MODULES=")
        run("make", "-s", "-C", headers, f"M={build}", *cross, *without, "modules")
        for module in build.glob("*.ko"):
            run("aarch64-linux-gnu-strip", "--strip-debug", module)
        for folder in ("headers", f"linux-source-{series}", "loads", "libc"):
            shutil.rmtree(place / folder)

    return part(f"kernel-{suite.name}", digest(version, HERE / "kernel", *sources(kernel, with_libc)), make)


def with_libc(libc: Path, *programs: Path) -> None:
    """Have programs of a release newer than this machine's run here, with the C library of their own release."""
    for link in libc.rglob("ld-linux-x86-64.so.2"):
        loader = link.resolve() if link.exists() else link
        for program_ in programs:
            own = program_.rename(program_.with_suffix(".own"))
            program_.write_text(f'#!/bin/sh\nexec {loader} --library-path {loader.parent} {own} "$@"\n')
            program_.chmod(0o755)
        return
    raise CannotBeMade(f"no loader in {libc}")


def root(suite: Suite, wheels: Path) -> Path:
    """Debian for arm64 with systemd and Python, and all that the program needs in its environment. Its scripts run under emulation."""

    def make(place: Path) -> None:
        tree = place / "tree"
        without = [f"--dpkgopt=path-exclude=/usr/share/{name}/*" for name in ("man", "doc", "locale")]
        how = ("--mode=root", "--architectures=arm64", "--variant=minbase", f"--include={IN_THE_ROOT}")
        run(*APART, "mmdebstrap", *how, *without, suite.name, tree, suite.source)
        for waste in [*(tree / "var/cache/apt/archives").glob("*.deb"), *(tree / "var/lib/apt/lists").glob("*_*")]:
            waste.unlink()
        shutil.copytree(wheels, tree / "wheels")
        needs = "python3 -m venv --system-site-packages /opt/evenbath && /opt/evenbath/bin/pip install -q --no-index --find-links /wheels"
        names = " ".join(path.name.split("-")[0] for path in wheels.glob("*.whl"))
        inside(tree, f"{needs} --no-compile {names}")
        shutil.rmtree(tree / "wheels")
        compile_for(tree)
        inside(tree, "groupadd --system gpio")
        inside(tree, "useradd --system --groups gpio --home-dir /var/lib/evenbath --shell /usr/sbin/nologin evenbath")
        inside(tree, "passwd -d root >/dev/null; useradd --create-home --groups evenbath ann; useradd --create-home bob")

    return part(f"root-{suite.name}", digest(suite.name, IN_THE_ROOT, wheels, *sources(root, inside, compile_for)), make)


def inside(tree: Path, words: str) -> None:
    """Run a line of shell in the tree."""
    script = 'mount -t proc proc "$0/proc" && exec chroot "$0" /bin/bash -ec "$1"'
    run(*APART, "sh", "-c", script, tree, words)


def compile_for(tree: Path) -> None:
    """What pip would compile on the board, where it is quick: by a Python of the same version on this machine, if there is one."""
    (version,) = (path.name for path in (tree / "opt/evenbath/lib").glob("python3*"))
    host = next((found for found in (f"/usr/bin/{version}", shutil.which(version)) if found and Path(found).exists()), None)
    if host is not None:
        subprocess.run([host, "-m", "compileall", "-q", "-s", tree, "-p", "/", tree / "opt/evenbath/lib"], check=False, capture_output=True)


def requirements() -> list[str]:
    """What the program needs, from its own pyproject.toml."""
    import tomllib

    with (PROJECT / "pyproject.toml").open("rb") as file:
        found: list[str] = tomllib.load(file)["project"]["dependencies"]
    return found


def wheels(suite: Suite) -> Path:
    """The libraries for the board's Python, from the package index; lgpio is built here where the index has it for other Pythons only."""
    python = PYTHONS[suite.name]
    built = python not in LGPIO_WHEELS

    def make(place: Path) -> None:
        platforms = [f"--platform=manylinux_2_{n}_aarch64" for n in (34, 31, 28, 27, 17)] + ["--platform=manylinux2014_aarch64"]
        pip = (sys.executable, "-m", "pip", "download", "-q", "--disable-pip-version-check", "-d", place)
        of = ("--only-binary", ":all:", "--python-version", python, "--implementation", "cp", *platforms)
        run(*pip, *of, *requirements(), *([] if built else [LGPIO]))
        if built:
            run(*pip, "--no-binary", ":all:", "--no-deps", LGPIO)
            (source,) = place.glob("lgpio-*.tar.gz")
            lgpio(suite, python, source)
            source.unlink()

    return part(f"wheels-{python}", digest(python, LGPIO, *requirements(), *(sources(lgpio) if built else ())), make)


def lgpio(suite: Suite, python: str, source: Path) -> None:
    """The library for pins from its own source as its authors build it for the index, crosswise, into a wheel beside that source."""
    version, tag, work = LGPIO.split("==")[1], "cp" + python.replace(".", ""), source.parent / "lgpio"
    work.mkdir()
    shutil.unpack_archive(source, work, filter="data")
    suite.fetch(work, f"libpython{python}-dev")
    (deb,) = work.glob("*.deb")
    run("dpkg-deb", "-x", deb, work / "python")
    code = work / f"lgpio-{version}"
    run("swig", "-python", "lgpio.i", cwd=code)
    parts = [*sorted((code / "src").glob("lg*.c")), code / "src/rgpiod.c", code / "lgpio_wrap.c"]
    include = [code / "src", work / "python/usr/include" / f"python{python}", work / "python/usr/include"]
    how = ("-shared", "-fPIC", "-O2", "-pthread", *(f"-I{path}" for path in include))
    run("aarch64-linux-gnu-gcc", *how, "-o", work / "_lgpio.so", *parts, "-lrt", "-ldl")
    about = f"lgpio-{version}.dist-info"
    files = {
        "lgpio.py": (code / "lgpio.py").read_bytes(),
        f"_lgpio.cpython-{python.replace('.', '')}-aarch64-linux-gnu.so": (work / "_lgpio.so").read_bytes(),
        f"{about}/METADATA": f"Metadata-Version: 2.1\nName: lgpio\nVersion: {version}\n".encode(),
        f"{about}/WHEEL": f"Wheel-Version: 1.0\nRoot-Is-Purelib: false\nTag: {tag}-{tag}-linux_aarch64\n".encode(),
    }
    files[f"{about}/RECORD"] = "".join(f"{name},,\n" for name in [*files, f"{about}/RECORD"]).encode()
    with zipfile.ZipFile(source.parent / f"lgpio-{version}-{tag}-{tag}-linux_aarch64.whl", "w") as wheel:
        for name, content in files.items():
            wheel.writestr(name, content)
    shutil.rmtree(work)


def card(suite: Suite, kernel_: Path, root_: Path) -> Path:
    """The program, its units and the board's helpers in a copy of the tree, and the tree on a card."""

    def make(place: Path) -> None:
        tree = place / "tree"
        run("cp", "-a", root_ / "tree", tree)
        version = modules_of(kernel_).name
        modules(kernel_, tree, version)
        program(tree)
        units(tree)
        early_disk(tree, version, place / "early.gz")
        image = place / "card.img"
        with image.open("wb") as file:
            file.truncate(CARD_MB * 1024 * 1024)
        run("mke2fs", "-q", "-t", "ext4", "-L", "root", "-d", tree, image)
        shutil.rmtree(tree)

    made_of: tuple[str | Path, ...] = (
        *(PROJECT / name for name in ("monitor", "hardware", "pyproject.toml")),
        HERE / "guest",
        *sources(card, modules, program, units, early_disk),
    )
    return part(f"card-{suite.name}", digest(kernel_.name, root_.name, *made_of), make)


def modules_of(kernel_: Path) -> Path:
    """The folder of the kernel's modules: below /usr from Debian 13 on, in a folder named after the version."""
    (found,) = (path for top in ("lib", "usr/lib") for path in (kernel_ / "image" / top / "modules").glob("*"))
    return found


def modules(kernel_: Path, tree: Path, version: str) -> None:
    """The kernel's modules into the tree: only those that a board of this kind needs, and the two of our own."""
    source, place = modules_of(kernel_), tree / "lib/modules" / version
    shutil.rmtree(tree / "lib/modules", ignore_errors=True)
    (place / "extra").mkdir(parents=True)
    for name in ("modules.builtin", "modules.builtin.modinfo", "modules.order"):
        shutil.copy(source / name, place)
    for name in KERNEL_PARTS:
        if (source / name).is_dir():
            shutil.copytree(source / name, place / name)
            continue
        for file in source.glob(f"{name}*"):
            (place / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(file, (place / name).parent)
    if packed := [*place.rglob("*.ko.xz")]:
        run("xz", "-d", *packed)
    for module in (kernel_ / "build").glob("*.ko"):
        shutil.copy(module, place / "extra")
    run("depmod", "-b", tree, version, env={"PATH": f"{os.environ['PATH']}:/usr/sbin:/sbin"})


def program(tree: Path) -> None:
    """The program as hardware/systemd/README.md installs it."""
    wheel = tree / "wheel"
    wheel.mkdir()
    run(sys.executable, "-m", "pip", "wheel", "-q", "--disable-pip-version-check", "--no-deps", "-w", wheel, PROJECT)
    inside(tree, "/opt/evenbath/bin/pip install -q --no-index --no-deps --no-compile /wheel/*.whl")
    shutil.rmtree(wheel)
    compile_for(tree)


def units(tree: Path) -> None:
    """The service as documented, what Raspberry Pi OS has for pins, and the board's own helper (root, no part of the program)."""
    etc = tree / "etc"
    inside(tree, "mkdir -p /etc/evenbath")
    shutil.copy(HERE / "guest/station.toml", etc / "evenbath/station.toml")
    inside(tree, "chgrp evenbath /etc/evenbath/station.toml; chmod 0640 /etc/evenbath/station.toml")
    for unit in (PROJECT / "hardware/systemd").glob("*.service"):
        shutil.copy(unit, etc / "systemd/system")
    (etc / "udev/rules.d/99-com.rules").write_text('SUBSYSTEM=="gpio", KERNEL=="gpiochip*", GROUP="gpio", MODE="0660"\n')
    (etc / "udev/rules.d/98-board.rules").write_text('SUBSYSTEM=="virtio-ports", ATTR{name}=="board", TAG+="systemd"\n')
    shutil.copy(HERE / "guest/agent.service", etc / "systemd/system/board-agent.service")
    shutil.copy(HERE / "guest/agent.py", tree / "usr/local/sbin/board-agent")
    (tree / "usr/local/sbin/board-agent").chmod(0o755)
    recipes = tree / "home/ann"
    for recipe in (HERE / "guest").glob("*.toml"):
        if recipe.name != "station.toml":
            shutil.copy(recipe, recipes)
            (recipes / recipe.name).chmod(0o644)
    (etc / "fstab").write_text("/dev/vda / ext4 defaults,noatime,errors=remount-ro 0 1\n")
    (etc / "hostname").write_text("board\n")
    (etc / "modules").write_text("virtio_console\n")
    (etc / "machine-id").write_text("")
    (tree / "var/log/journal").mkdir(exist_ok=True)
    on = ("evenbath.service", "evenbath-lamps.service", "board-agent.service")
    off = ("proc-sys-fs-binfmt_misc.automount", "systemd-binfmt.service", "apt-daily.timer", "apt-daily-upgrade.timer", "fstrim.timer")
    more = ("e2scrub_all.timer", "e2scrub_reap.service", "dpkg-db-backup.timer", "getty@tty1.service", "serial-getty@ttyAMA0.service")
    run("systemctl", f"--root={tree}", "-q", "enable", *on)
    run("systemctl", f"--root={tree}", "-q", "mask", *off, *more)


EARLY_INIT = """#!/bin/busybox sh
/bin/busybox mount -t devtmpfs dev /dev; /bin/busybox mount -t proc proc /proc; /bin/busybox mount -t sysfs sys /sys
while read -r m; do /bin/busybox insmod /m/$m; done < /order
n=0; while [ ! -b /dev/vda ] && [ $n -lt 100 ]; do /bin/busybox usleep 50000; n=$((n+1)); done
/bin/busybox mount -t ext4 -o ro,noatime /dev/vda /new || exec /bin/busybox sh
/bin/busybox mount --move /dev /new/dev; /bin/busybox umount /proc; /bin/busybox umount /sys
exec /bin/busybox switch_root /new /sbin/init
"""


def early_disk(tree: Path, version: str, into: Path) -> None:
    """Enough to mount the card; everything else is udev's and systemd's work."""
    disk = into.parent / "early"
    for name in ("bin", "proc", "sys", "dev", "new", "m"):
        (disk / name).mkdir(parents=True)
    shutil.copy(tree / "bin/busybox", disk / "bin")
    wanted: dict[str, Path] = {}
    for name in EARLY:
        told = run("modprobe", "-d", tree, "-S", version, "--show-depends", name, env={"PATH": f"{os.environ['PATH']}:/usr/sbin:/sbin"})
        wanted |= {Path(word).name: Path(word) for word in re.findall(r"^insmod (\S+)", told, re.MULTILINE)}
    for file in wanted.values():
        shutil.copy(file, disk / "m")
    (disk / "order").write_text("".join(f"{name}\n" for name in wanted))
    (disk / "init").write_text(EARLY_INIT)
    (disk / "init").chmod(0o755)
    run("bash", "-euo", "pipefail", "-c", "find . | cpio -o -H newc --quiet | gzip -1", cwd=disk, into=into)
    shutil.rmtree(disk)


def device_tree(cpus: int, memory_mb: int) -> Path:
    """QEMU's own device tree for `virt`, with a Pi's name, a gpiochip0 of 54 lines, the 1-Wire bus and two lamps."""

    def make(place: Path) -> None:
        machine = f"virt,gic-version=2,dumpdtb={place / 'virt.dtb'}"
        run(
            "qemu-system-aarch64",
            "-M",
            machine,
            "-cpu",
            "cortex-a72",
            "-smp",
            str(cpus),
            "-m",
            str(memory_mb),
            "-nic",
            "none",
            "-display",
            "none",
        )
        run("dtc", "-q", "-I", "dtb", "-O", "dts", "-o", place / "virt.dts", place / "virt.dtb")
        text = (place / "virt.dts").read_text()
        text = text.replace('model = "linux,dummy-virt";', 'model = "Raspberry Pi 4 Model B Rev 1.4";')
        for own in (r"\tpl061@.*?\n\t};\n", r"\tgpio-keys \{.*?\n\t};\n"):
            text = re.sub(own, "", text, flags=re.DOTALL)
        end = text.rstrip().rfind("};")
        (place / "board.dts").write_text(text[:end] + (HERE / "kernel/board.dtsi").read_text() + "};\n")
        run("dtc", "-q", "-@", "-I", "dts", "-O", "dtb", "-o", place / "board.dtb", place / "board.dts")

    return part("device-tree", digest(str(cpus), str(memory_mb), HERE / "kernel/board.dtsi"), make) / "board.dtb"


def make(suite_name: str, cpus: int = 2, memory_mb: int = 1024) -> Made:
    """Everything, from what is there already where it is the same. Raises `CannotBeMade`."""
    tools()
    cache().mkdir(parents=True, exist_ok=True)
    suite = Suite(suite_name)
    kernel_ = kernel(suite)
    root_ = root(suite, wheels(suite))
    card_ = card(suite, kernel_, root_)
    (image,) = (kernel_ / "image/boot").glob("vmlinuz-*")
    return Made(image, card_ / "early.gz", device_tree(cpus, memory_mb), card_ / "card.img")


def main(words: Sequence[str]) -> int:
    """Only make it, for looking at: `python -m tests.board.making [bookworm | trixie]`."""
    made = make(words[0] if words else "bookworm")
    say(f"{made.card}: {made.card.stat().st_blocks * 512 // 1_000_000} MB")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
