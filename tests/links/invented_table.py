"""A foreign table of an invented warm-up, as text: no number in it was measured."""

TABLE = "t,temp\n" + "".join(f"{second},{76.0 + second / 30:.1f}\n" for second in range(0, 480, 2))
