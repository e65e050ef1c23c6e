"""Checks that a file is a program for macOS on the processor that is named, for version 11 of the system or later, and that it links
nothing but what is on every Mac (the format: Apple, mach-o/loader.h)."""

import struct
import sys

PROCESSORS = {"x86_64": 0x01000007, "arm64": 0x0100000C}
MAGIC, EXECUTABLE = 0xFEEDFACF, 2
LOAD_DYLIB, LOAD_WEAK_DYLIB, MINIMUM_VERSION, BUILD_VERSION, CODE_SIGNATURE = 0xC, 0x80000018, 0x24, 0x32, 0x1D


def main(processor, file):
    data = open(file, "rb").read()
    magic, cpu, _, kind, commands, _, _ = struct.unpack_from("<7I", data)
    assert (magic, cpu, kind) == (MAGIC, PROCESSORS[processor], EXECUTABLE), "no program of this processor"
    at, version, libraries, signed = 32, None, [], False
    for _ in range(commands):
        command, length = struct.unpack_from("<2I", data, at)
        if command in (LOAD_DYLIB, LOAD_WEAK_DYLIB):
            name = at + struct.unpack_from("<I", data, at + 8)[0]
            libraries.append(data[name : data.index(b"\0", name)].decode())
        elif command == MINIMUM_VERSION:
            version = struct.unpack_from("<I", data, at + 8)[0]
        elif command == BUILD_VERSION:
            version = struct.unpack_from("<I", data, at + 12)[0]
        signed |= command == CODE_SIGNATURE
        at += length
    assert version is not None and version >> 16 <= 11, f"it asks for version {version} of the system"
    strange = [name for name in libraries if not name.startswith(("/usr/lib/", "/System/Library/Frameworks/"))]
    assert libraries and not strange, f"it links {strange}"
    # Processors of Apple's own run nothing that isn't signed, if only by the linker.
    assert signed or processor != "arm64", "it isn't signed"
    print(f"{file}: {processor}, macOS {version >> 16}.{version >> 8 & 255}, links {', '.join(libraries)}")


main(*sys.argv[1:])
