#!/usr/bin/env python3
"""A pot with a transducer at the far end of a serial port, and the person at its
hand pump, who does what the program asks for in the text that it prints.
Usage: pot.py LINK TEXT-FILE [HZ [TICKS]]. It prints p_bar=... t_c=..., absolute, HZ (20) times
a second. With a file TICKS the temperature changes by 0.01 K each minute, and the file holds when: seconds of the
clock that is never set, and of the wall clock; how many lines the port had taken by then, how many it had refused
because nobody read it, and by how many seconds the latest was late since the tick before."""
import os, pty, random, re, sys, time, tty

link, text_file = sys.argv[1:3]
ROOM, RATE, NOISE = 0.980, 0.2, 0.00015  # bar absolute, bar/s, bar
EVERY = 1 / float(sys.argv[3]) if len(sys.argv) > 3 else 0.05  # s
ticks = open(sys.argv[4], "w", buffering=1) if len(sys.argv) > 4 else None
master, slave = pty.openpty()
tty.setraw(slave)
os.set_blocking(master, False)
if os.path.islink(link):
    os.remove(link)
os.symlink(os.ttyname(slave), link)
random.seed(1)
p, target, read, warm, sent, refused, late = ROOM, None, 0, 0, 0, 0, 0.0
begin = due = time.monotonic()
while True:
    now, wall = time.monotonic(), time.time()
    late = max(late, now - due)
    if ticks and int((now - begin) / 60) % 2 != warm:
        warm = 1 - warm
        ticks.write("%.6f %.6f %d %d %.3f\n" % (now, wall, sent, refused, late))
        late = 0.0
    if os.path.exists(text_file):
        with open(text_file) as f:
            f.seek(read)
            new = f.read()
            read = f.tell()
        for line in new.splitlines():
            if ">>>" not in line:
                continue
            said = line.lower()
            to = re.search(r"to ([0-9.]+) bar gauge", said)
            if "vent fully" in said:
                target = ROOM
            elif to:
                target = ROOM + float(to.group(1))
            else:
                target = None
    if target is not None:
        step = RATE * EVERY
        p = target if abs(target - p) <= step else p + (step if target > p else -step)
    try:
        line = b"p_bar=%.6f t_c=12.0%d\n" % (p + random.gauss(0, NOISE), warm)
        whole = os.write(master, line) == len(line)
    except BlockingIOError:
        whole = False  # nobody reads
    sent, refused = sent + whole, refused + (not whole)
    try:
        os.read(master, 4096)
    except BlockingIOError:
        pass
    due += EVERY
    time.sleep(max(0, due - time.monotonic()))
