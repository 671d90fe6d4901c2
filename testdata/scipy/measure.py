"""Runs commands in turn, ROUNDS times, and prints for each the least wall time
and CPU time in s and the greatest resident memory in MiB.

    measure.py ROUNDS COMMAND [::: COMMAND]...
"""
import os
import subprocess
import sys
import time


def run(command):
    begin = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    if status != 0:
        sys.exit(f"measure.py: {' '.join(command)} failed")
    return time.perf_counter() - begin, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def main():
    commands = [[]]
    for word in sys.argv[2:]:
        if word == ":::":
            commands.append([])
        else:
            commands[-1].append(word)
    rounds = [[run(c) for c in commands] for _ in range(int(sys.argv[1]))]
    for runs in zip(*rounds):
        wall, cpu, memory = zip(*runs)
        print(f"{min(wall):.3f} {min(cpu):.3f} {max(memory):.1f}")


if __name__ == "__main__":
    main()
