"""The path of the fluid between a sensor's steps: when each step was crossed, and rates over it.

A sensor with 1 degC steps says nothing between two steps, but the moment of a step is sharp. So the
path is kept as the times at which readings first reached a step edge, joined by straight lines. All
levels here are levels of *readings*: "first reading at or above 70" is exactly the edge 70,
whether the sensor cuts or rounds. A finely resolved signal is averaged over short bins instead.
"""

from bisect import bisect_left, bisect_right
from math import floor

_FINE_C = 0.2  # steps smaller than this are treated as a continuous, noisy signal
_BIN_S = 5.0
_CHATTER_S = 30.0  # crossing the same edge again within this time is jitter, not a plateau
_JUMP_STEPS = 2.5
_JUMP_C = 2.5
_JUMP_C_PER_S = 0.5
_MOST_POINTS = 480
_COOLED_C, _AGAIN_C = 8.0, 2.0  # after such a fall so much of a rise is another warm-up
_BRIDGE_S = 600.0  # a longer hole is never bridged
_STALE_S = 60.0  # so long the first rows after a hole may repeat the old value
_HOLE_S = 5.0  # no reading for so long is a hole
_SENSOR_JUMP_C = 5.0  # a larger jump out of no hole is the sensor's, not a coarse step
_DIFFERENCES = 24
_THIN_SHARE = 0.02  # of its age may lie between a point and the one before it


class Track:
    """Times and levels of the fluid's path; memory is bounded by thinning the older part."""

    __slots__ = (
        "_after_hole", "_at_start", "_bin_n", "_bin_sum", "_bin_t", "_bin_t0", "_differences",
        "_last_s", "_value",
        "broken_s", "edges", "levels", "noise_c", "now_s", "quantum_c", "start_level", "start_s",
        "times",
    )  # fmt: skip

    def __init__(self) -> None:
        self.times: list[float] = []
        self.levels: list[float] = []
        self.edges = 0
        self.quantum_c = 1.0
        self.noise_c = 0.0
        self.now_s = 0.0
        self.start_s = 0.0
        self.start_level = 0.0
        self.broken_s = 0.0
        self._value: float | None = None
        self._last_s = 0.0
        self._differences: list[float] = []
        self._at_start = True
        self._after_hole = False
        self._bin_n = 0
        self._bin_sum = self._bin_t = self._bin_t0 = 0.0

    @property
    def value(self) -> float | None:
        """The latest reading, degC."""
        return self._value

    @property
    def seen_s(self) -> float:
        """How long the path is."""
        return self.now_s - self.start_s

    @property
    def fine(self) -> bool:
        """Whether the signal is resolved finely enough to be averaged."""
        return self.quantum_c < _FINE_C

    def add(self, now_s: float, value: float) -> None:
        """Take one good reading."""
        previous = self._value
        self.now_s = now_s
        if value != previous:
            self._changed(now_s, value, previous)
        if self.quantum_c < _FINE_C:
            self._gather(now_s, value)
        self._last_s = now_s

    def restart(self) -> None:
        """Continuity was lost: the next reading starts a new stretch of the path."""
        self._value = None
        self._bin_n = 0

    def _changed(self, now_s: float, value: float, previous: float | None) -> None:
        self._value = value
        if previous is None:
            if self._went_on(now_s, value):
                self._bin_n = 0
            else:
                self._begin(now_s, value)
            return
        step = value - previous
        size = abs(step)
        if size > self._most_step(now_s) and size > _JUMP_STEPS * self.quantum_c:
            self._begin(now_s, value)
            return
        self._learn_quantum(size)
        if self.quantum_c >= _FINE_C:
            edge = value if step > 0 else value + self.quantum_c
            self._edge(now_s, edge)

    def _went_on(self, now_s: float, value: float) -> bool:
        """Whether a reading after a hole lies where the old path was heading."""
        if not self.times or now_s - self.times[-1] > _BRIDGE_S:
            return False
        expected = self.levels[-1] + self._recent_rate() * (now_s - self.times[-1])
        step = max(self.quantum_c, 0.5)
        return value - step <= expected <= value + 2.0 * step

    def _begin(self, now_s: float, value: float) -> None:
        level = value if self.fine else value + 0.5 * self.quantum_c
        if not self.times:
            self.start_s, self.start_level = now_s, level
        elif abs(level - self.levels[-1]) > self._most_step(now_s):
            self._take_out(level - self.levels[-1])
        self._after_hole = now_s - self._last_s >= _HOLE_S
        self._append(now_s, level)
        self._at_start = True
        self.broken_s = now_s
        self._bin_n = 0

    def _most_step(self, now_s: float) -> float:
        """Return how much the fluid can change since the last reading, K."""
        return _JUMP_C + _JUMP_C_PER_S * (now_s - self._last_s)

    def _take_out(self, jump: float) -> None:
        """Take a jump that no heating makes out of the past, so that it is not counted as climb.

        Rows that repeated the old value after a hole go: the climb was made in the hole. Otherwise
        the sensor jumped, and the past goes along with it.
        """
        first = bisect_left(self.times, self.broken_s)
        if self._after_hole and 0 < first < len(self.times) and self._repeats(first):
            del self.times[first:], self.levels[first:]
        elif abs(jump) > _SENSOR_JUMP_C:
            self.levels = [level + jump for level in self.levels]
            self.start_level += jump

    def _repeats(self, first: int) -> bool:
        """Whether the path since point `first` only says again what was known before the hole."""
        since = self.levels[first - 1 :]
        brief = self._last_s - self.broken_s <= _STALE_S
        return brief and max(since) - min(since) <= 1.1 * max(self.quantum_c, 0.5)

    def _learn_quantum(self, size: float) -> None:
        differences = self._differences
        differences.append(size)
        if len(differences) > _DIFFERENCES:
            del differences[0]
        was_fine = self.fine
        self.quantum_c = round(min(differences), 4) or 0.0001
        if self.fine and not was_fine and len(self.times) == 1:
            self.levels[0] -= 0.5
            self.start_level = self.levels[0]

    def _edge(self, now_s: float, edge: float) -> None:
        same = not self._at_start and abs(edge - self.levels[-1]) < 0.25 * self.quantum_c
        if not same or now_s - self.times[-1] > _CHATTER_S:
            self._append(now_s, edge)
            self._at_start = False
            self.edges += 1

    def _gather(self, now_s: float, value: float) -> None:
        if self._bin_n and now_s - self._bin_t0 >= _BIN_S:
            n = self._bin_n
            mean = self._bin_sum / n
            if self._bin_t / n > self.times[-1]:
                self._append(self._bin_t / n, mean)
                self.edges += 1
            self._bin_n = 0
        if not self._bin_n:
            self._bin_t0, self._bin_sum, self._bin_t = now_s, 0.0, 0.0
        self._bin_n += 1
        self._bin_sum += value
        self._bin_t += now_s
        self.noise_c += 0.02 * (abs(value - self.level()) * 1.25 - self.noise_c)

    def _append(self, now_s: float, level: float) -> None:
        self.times.append(now_s)
        self.levels.append(level)
        if len(self.times) > _MOST_POINTS:
            self._thin()
        trough = self._trough()
        if trough:
            del self.times[:trough], self.levels[:trough]
            self.start_s, self.start_level = self.times[0], self.levels[0]

    def _trough(self) -> int:
        """Return the point from which another warm-up runs after a real fall; 0 for none."""
        levels = self.levels
        lowest = i = len(levels) - 1
        while i and levels[i] < levels[lowest] + _COOLED_C:
            i -= 1
            lowest = i if levels[i] < levels[lowest] else lowest
        fell = levels[i] >= levels[lowest] + _COOLED_C
        return lowest if fell and levels[-1] >= levels[lowest] + _AGAIN_C else 0

    def _thin(self) -> None:
        """Keep points the closer the younger they are, so that an old rate is still a rate."""
        share = _THIN_SHARE
        while len(self.times) > _MOST_POINTS * 0.9:
            now, kept = self.times[-1], [0]
            for i in range(1, len(self.times) - 1):
                if self.times[i] - self.times[kept[-1]] >= share * (now - self.times[i]):
                    kept.append(i)
            kept.append(len(self.times) - 1)
            self.times = [self.times[i] for i in kept]
            self.levels = [self.levels[i] for i in kept]
            share *= 2.0

    def level(self) -> float:
        """Return the present level of the path, degC, between the steps as well."""
        if self._value is None or not self.times:
            return self.levels[-1] if self.levels else 0.0
        if self.quantum_c < _FINE_C:
            return self._fine_level()
        edge = self.levels[-1]
        drift = self._recent_rate() * (self.now_s - self.times[-1])
        room = 0.9 * self.quantum_c
        if self._at_start:
            return edge + min(max(drift, -0.5 * room), 0.5 * room)
        if self._value >= edge - 0.25 * self.quantum_c:
            return min(max(edge + drift, self._value), self._value + room)
        return edge - min(max(-drift, 0.1 * self.quantum_c), room)

    def _fine_level(self) -> float:
        total, when, n = self._bin_sum, self._bin_t, float(self._bin_n)
        if len(self.times) > 1 and self.times[-1] >= self.broken_s:
            total += self.levels[-1] * 3.0
            when += self.times[-1] * 3.0
            n += 3.0
        if not n:
            return self.levels[-1]
        level = total / n + self._recent_rate() * (self.now_s - when / n)
        value, room = self._value or 0.0, 1.0 + 3.0 * self.noise_c
        return min(max(level, value - room), value + room)

    def _recent_rate(self) -> float:
        """Return K/s over the last few recorded points, at least two minutes where there are."""
        times, levels = self.times, self.levels
        i = max(len(times) - 2, 0)
        least = times[-1] - 120.0
        while i > 0 and times[i] > least and times[i - 1] >= self.broken_s:
            i -= 1
        span = times[-1] - times[i]
        return (levels[-1] - levels[i]) / span if span > 0 else 0.0

    def at(self, when_s: float, level_now: float) -> float:
        """Return the level at an earlier time, degC; before the start, the level at the start."""
        times, levels = self.times, self.levels
        if when_s <= times[0]:
            return levels[0]
        i = bisect_right(times, when_s)
        t0, x0 = times[i - 1], levels[i - 1]
        if i < len(times):
            t1, x1 = times[i], levels[i]
        else:
            t1, x1 = self.now_s, level_now
        return x0 + (x1 - x0) * (when_s - t0) / (t1 - t0) if t1 > t0 else x0

    def last_below(self, wanted: list[float], level_now: float) -> list[float | None]:
        """Return for each level (falling order) the latest time the path was there, else None."""
        times, levels = self.times, self.levels
        t1, x1 = self.now_s, level_now
        i = len(times) - 1
        found: list[float | None] = []
        for level in wanted:
            while i >= 0 and levels[i] > level:
                t1, x1 = times[i], levels[i]
                i -= 1
            if i < 0:
                found.append(None)
            elif x1 > levels[i]:
                part = min(max((level - levels[i]) / (x1 - levels[i]), 0.0), 1.0)
                found.append(times[i] + part * (t1 - times[i]))
            else:
                found.append(t1)
        return found

    def target_level(self, target_c: float, above: bool) -> float:
        """Return the reading level that counts as `target_c` reached (or passed, when `above`)."""
        if self._value is None:
            return target_c
        if self.fine:
            return target_c - 1.2 * self.noise_c if self.noise_c > 0.02 else target_c
        q = self.quantum_c
        steps = (target_c - self._value) / q
        whole = float(floor(steps + 1e-3))
        off = abs(steps - whole)
        if above:
            return self._value + (whole + 1.0) * q
        return self._value + (whole if off < 1e-3 else whole + 1.0) * q
