# A peer for scale, with numpy and pandas: a straight line through the pressure of
# each hold of a record, nothing more. usage: peer.py readings.lp
import sys

import numpy as np
import pandas as pd

times, pressures, stages = [], [], []
with open(sys.argv[1]) as record:
    for text in record:
        head, fields, stamp = text.rsplit(" ", 2) if text.count(" ") == 2 else text.split(" ", 1) + [text[text.rindex(" "):]]
        if head.startswith("chamber,"):
            for field in fields.split(","):
                key, _, value = field.partition("=")
                if key == "pressure_pa":
                    times.append(int(stamp))
                    pressures.append(float(value))
        elif head.startswith("stage,"):
            stages.append((head.split("kind=")[1].split(",")[0], int(stamp)))
frame = pd.DataFrame({"t": np.array(times, dtype=np.int64), "p": pressures})
ends = [stamp for _, stamp in stages[1:]] + [times[-1]]
for (kind, start), end in zip(stages, ends):
    if kind == "hold":
        hold = frame[(frame.t > start) & (frame.t <= end)]
        slope, level = np.polyfit((hold.t - start) / 3.6e12, hold.p, 1)
        print(f"hold from {start}: {slope:.3f} Pa/h")
