"""Times of one change of a panel's slider, in the kernel: python tests/bench_panel.py"""

import io
import statistics
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))


def milliseconds(work, rounds=41):
    """Median and 95th percentile."""
    times = []
    for number in range(rounds):
        start = time.perf_counter()
        work(number)
        times.append(1000 * (time.perf_counter() - start))
    return statistics.median(times), sorted(times)[int(0.95 * len(times))]


def main():
    start = time.perf_counter()
    from grader.widgets.panels import m01_timing

    print(f"import of panel and matplotlib   {1000 * (time.perf_counter() - start):7.0f} ms")
    start = time.perf_counter()
    panel = m01_timing.total_advance()
    print(f"first drawing of both pictures   {1000 * (time.perf_counter() - start):7.0f} ms")
    panel.controls["line"].value = m01_timing.ON

    def state(number):
        return m01_timing.compute(500 + 80 * number, 9, 8, m01_timing.ON)

    def move(number):
        panel.controls["speed_rpm"].value = 500 + 50 * number

    def save_figure(number):
        for picture, _ in panel.views:
            picture.update(state(number))
            picture.figure.savefig(io.BytesIO(), format="png")

    rows = (
        ("slider moved, all of it", move),
        ("  computing", state),
        ("  drawing what moves as SVG", lambda n: [picture.layer(state(n)) for picture, _ in panel.views]),
        ("the same through savefig", save_figure),
    )
    for name, work in rows:
        middle, slow = milliseconds(work)
        print(f"{name:32s} {middle:7.1f} ms   95 %: {slow:.1f} ms")
    for image, layer in zip(panel.images, panel.layers, strict=True):
        print(f"still picture, once: {len(image.value) / 1024:.0f} KiB; a move: {len(layer.value) / 1024:.1f} KiB")


if __name__ == "__main__":
    main()
