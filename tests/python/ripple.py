"""The highest peak of the power of both sides together, window by window."""

import numpy as np
from exchange import answer, asked
from scipy.signal import periodogram, zoom_fft
from scipy.signal.windows import hann

q = asked()
rate, size = q["rate"], q["size"]
sides = [np.array(side) for side in q["sides"]]
peaks = []
for start in q["from"]:
    pieces = [side[start : start + size] for side in sides]
    frequency, power = None, 0.0
    for piece in pieces:
        frequency, one = periodogram(piece, rate, window="hann", nfft=16 * size)
        power = power + one
    band = frequency >= 2.0
    rough = frequency[band][np.argmax(power[band])]
    width = rate / size
    for _ in range(3):
        low, high, points = rough - width, rough + width, 401
        zoomed = sum(
            np.abs(zoom_fft((p - p.mean()) * hann(size, sym=False), [low, high], points, fs=rate)) ** 2
            for p in pieces
        )
        rough = low + (high - low) / points * np.argmax(zoomed)
        width /= 50
    peaks.append(rough)
answer(peak=peaks)
