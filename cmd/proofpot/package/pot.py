#!/usr/bin/env python3
"""A pot with a transducer at the far end of a serial port, and the person at its
hand pump, who does what the program asks for in the text that it prints.
Usage: pot.py LINK TEXT-FILE. It prints p_bar=... t_c=..., absolute, 20 times a second."""
import os, pty, random, re, sys, time, tty

link, text_file = sys.argv[1:]
ROOM, RATE, EVERY, NOISE = 0.980, 0.2, 0.05, 0.00015  # bar absolute, bar/s, s, bar
master, slave = pty.openpty()
tty.setraw(slave)
os.set_blocking(master, False)
if os.path.islink(link):
    os.remove(link)
os.symlink(os.ttyname(slave), link)
random.seed(1)
p, target, read = ROOM, None, 0
while True:
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
        os.write(master, b"p_bar=%.6f t_c=12.00\n" % (p + random.gauss(0, NOISE)))
    except BlockingIOError:
        pass  # nobody reads
    try:
        os.read(master, 4096)
    except BlockingIOError:
        pass
    time.sleep(EVERY)
