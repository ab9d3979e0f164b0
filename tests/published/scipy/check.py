"""Compares operations of the signal toolbox with NumPy and SciPy: check.py PROGRAM."""
import json
import subprocess
import sys
import unittest

import numpy
from scipy import integrate, ndimage, signal, stats

PROGRAM = sys.argv.pop()


class Toolbox(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.ours = json.loads(subprocess.run([PROGRAM], check=True, capture_output=True, text=True).stdout)
        cls.x = numpy.array(cls.ours["samples"])
        cls.window = cls.ours["window"]
        cls.inside = slice(cls.window, -cls.window)

    def compare(self, ours, theirs, tolerance=1e-9):
        ours = numpy.array(ours, dtype=float)
        self.assertEqual(ours.shape, numpy.shape(theirs))
        self.assertGreater(ours.size, 0)
        numpy.testing.assert_allclose(ours, theirs, rtol=tolerance, atol=tolerance)

    def test_mean_with_shortened_windows(self):
        kernel = numpy.ones(self.window)
        theirs = numpy.convolve(self.x, kernel, "same") / numpy.convolve(numpy.ones_like(self.x), kernel, "same")
        self.compare(self.ours["mean"], theirs)

    def test_mean_with_zeros_beyond_the_ends(self):
        theirs = ndimage.uniform_filter1d(self.x, self.window, mode="constant", cval=0.0)
        self.compare(self.ours["mean_zero"], theirs)

    def test_median_filter(self):
        theirs = ndimage.median_filter(self.x, self.window)
        self.compare(self.ours["median_filter"][self.inside], theirs[self.inside], 0.0)

    def test_slope_of_least_squares(self):
        points = 2 * int(0.5 * self.ours["rate_hz"]) + 1
        theirs = signal.savgol_filter(self.x, points, 1, deriv=1, delta=1.0 / self.ours["rate_hz"])
        self.compare(self.ours["slope"][self.inside], theirs[self.inside])

    def test_opening(self):
        theirs = ndimage.grey_opening(self.x, self.window)
        self.compare(self.ours["opening"][self.inside], theirs[self.inside], 0.0)

    def test_peaks_by_prominence(self):
        places, properties = signal.find_peaks(self.x, prominence=3.0)
        ours = dict(zip(self.ours["peak_index"], self.ours["peak_prominence"]))
        # SciPy knows no peak at an end of the signal.
        inner = [place for place in sorted(ours) if 0 < place < len(self.x) - 1]
        self.assertGreater(len(inner), 10)
        self.compare(inner, places)
        self.compare([ours[place] for place in inner], properties["prominences"])

    def test_envelope_of_a_rectified_signal(self):
        window_s, rate_hz = self.ours["envelope_settings"]
        self.assertEqual(rate_hz, self.ours["rate_hz"])
        points = 2 * int(window_s / 2 * rate_hz + 1e-6) + 1
        theirs = ndimage.uniform_filter1d(self.x, points)
        self.compare(self.ours["envelope"][self.inside], theirs[self.inside])

    def test_integral(self):
        times = numpy.arange(len(self.x)) / self.ours["rate_hz"]
        grid = numpy.unique(numpy.concatenate(([3.21, 61.87], times[(times > 3.21) & (times < 61.87)])))
        self.compare([self.ours["integral"]], [integrate.trapezoid(numpy.interp(grid, times, self.x), grid)])

    def test_median_and_robust_deviation(self):
        self.compare([self.ours["median"]], [numpy.median(self.x)], 1e-12)
        # 1.4826 is the rounded factor that the literature prints.
        self.compare([self.ours["sd"]], [stats.median_abs_deviation(self.x, scale="normal")], 2e-5)

    def test_trend(self):
        weeks = 3.0 * numpy.arange(12) ** 2 / 7.0
        self.compare([self.ours["slope_per_week"]], [stats.linregress(weeks, self.x[:12]).slope])

    def test_interpolation(self):
        times = numpy.arange(len(self.x)) / self.ours["rate_hz"]
        self.compare([self.ours["value_at"]], [numpy.interp(17.383, times, self.x)])

    def test_normal_distribution(self):
        self.compare([self.ours["centile"]], [100.0 * stats.norm.cdf(self.ours["z"])], 1e-12)


if __name__ == "__main__":
    unittest.main()
