"""Sums over all pairs of cells of a grid, by how far apart they lie, by Fourier transform."""
import numpy as np
from scipy.fft import fft, ifft, irfft, rfft

from .threads import THREADS

STRIP_NUMBERS = 2**20  # of a transform between two ticks: 16 MB, some 20 ms


def transformed(part, padded, tick):
    """Return the real Fourier transform of a grid (rows, columns) padded to a shape.

    The same as scipy's rfft2, but with ticks between its strips. Memory: 8 bytes for each padded
    cell.

    Parameters
        part    (rows, columns)
        padded  rows and columns of the torus
        tick    called with the fraction done; may raise Stopped
    Returns  (padded rows, padded columns // 2 + 1) complex
    """
    found = _zeros((padded[0], padded[1] // 2 + 1), tick)
    for some in _strips(len(part), padded[1], tick, 0.0):
        found[:len(part)][some] = rfft(part[some], padded[1], axis=1, workers=THREADS)
    for some in _strips(found.shape[1], padded[0], tick, 0.5):
        found[:, some] = fft(found[:, some], axis=0, workers=THREADS)
    return found


def correlation(spectrum, padded, reach, tick):
    """Return the first reach + 1 rows of the grid on a torus that has a spectrum.

    Of a correlation these are the steps of 0 to `reach` rows, and of all columns either way, those
    back counted from the end.

    Parameters
        spectrum  function of a slice of columns that returns these columns of the spectrum
        padded, tick   as for transformed
    Returns  (reach + 1, padded columns)
    """
    across = _zeros((reach + 1, padded[1] // 2 + 1), tick)
    for some in _strips(across.shape[1], padded[0], tick, 0.0):
        across[:, some] = ifft(spectrum(some), axis=0, workers=THREADS)[:reach + 1]
    found = np.empty((reach + 1, padded[1]))
    for some in _strips(len(found), padded[1], tick, 0.5):
        found[some] = irfft(across[some], padded[1], axis=1, workers=THREADS)
    return found


def _zeros(shape, tick):
    """Complex zeros, made with looks on the way: memory used for the first time takes its time.

    Strips of columns, each of which would touch all of it, would have it at the first of them.
    """
    found = np.empty(shape, complex)
    for some in _strips(shape[0], shape[1], lambda _: tick(0.0), 0.0):
        found[some] = 0
    return found


def _strips(count, length, tick, before):
    """Slices of `count` lines of some length; a tick after each, from `before` on half the way."""
    step = max(1, STRIP_NUMBERS // length)
    for start in range(0, count, step):
        yield slice(start, start + step)
        tick(before + 0.5 * min(start + step, count) / count)
