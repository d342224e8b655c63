"""One end of a pipe to the benchmark: reads the swarm, writes the forces once, then
evaluates as often as it is asked to and answers with the seconds of processor time."""
import sys
import time

import numpy as np


class Swarm:
    def __init__(self, path):
        numbers = np.fromfile(path, dtype=np.float64)
        n, self.cutoff, self.core2 = int(numbers[0]), numbers[1], numbers[2]
        xx, xy, xz, yy, yz, zz = numbers[3:9]
        self.tensor = np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])
        self.at = numbers[9 : 9 + 3 * n].reshape(n, 3).copy()
        self.moment = numbers[9 + 3 * n : 9 + 4 * n].copy()


def serve(functions):
    swarm = Swarm(sys.argv[1])
    functions[""](swarm).astype(np.float64).tofile(sys.argv[2])
    print("ready", flush=True)
    for line in sys.stdin:
        words = line.split()
        function = functions[words[1] if len(words) > 1 else ""]
        begun = time.process_time()
        for _ in range(int(words[0])):
            function(swarm)
        print(repr(time.process_time() - begun), flush=True)
