"""Jobs for the tests of contained work: some well behaved, some not."""

import os
import subprocess
import sys
import tempfile
import time

from spinlab.errors import UnreadableRecording


def double(value, *, plus=0):
    return 2 * value + plus


def which_process():
    return os.getpid()


def environment():
    return dict(os.environ)


def raise_unreadable(words):
    raise UnreadableRecording(words)


def divide_by_zero():
    return 1 / 0


def print_to_everything():
    print("garbage on standard output")
    os.write(1, b"more of it\n")
    sys.stderr.write("and on standard error\n")
    sys.stdin.read()
    return "done"


def kill_itself(number):
    os.kill(os.getpid(), number)
    time.sleep(30)


def leave(code):
    os._exit(code)


def sleep(seconds):
    time.sleep(seconds)
    return seconds


def spin(seconds):
    until = time.process_time() + seconds
    while time.process_time() < until:
        pass
    return seconds


def fill_memory(megabytes):
    return len(bytearray(megabytes * 10**6))


def write_file(size):
    with tempfile.TemporaryFile() as file:
        file.write(b"x" * size)
        file.flush()
    return size


def leave_scratch_file():
    handle, name = tempfile.mkstemp()
    os.close(handle)
    return name


def stay_with_scratch_file(note):
    with open(note, "w") as file:
        file.write(f"{os.getpid()} {leave_scratch_file()}")
    time.sleep(60)


def start_grandchild():
    return subprocess.Popen(["sleep", "60"]).pid


def answer_without_end():
    return "x" * (70 * 2**20)


def not_json():
    return {1, 2}


def threads():
    import numpy as np

    np.linalg.svd(np.eye(200))
    return len(os.listdir("/proc/self/task"))
