"""The shapes of the states: each state has one of its own, so that nobody needs its colour to know it."""

# Strokes in a field of 100 x 100, drawn by the template in the colour of the words beside them.
SHAPES: dict[str, str] = {
    "badge": "M20 15h60v70h-60z M50 32a9 9 0 1 0 .1 0 M34 70a16 14 0 0 1 32 0",
    "label": "M12 25v50 M24 25v50 M34 25v50 M50 25v50 M58 25v50 M72 25v50 M88 25v50",
    "lock": "M25 45h50v40h-50z M34 45v-12a16 16 0 0 1 32 0v12 M50 60v12",
    "fixture": "M15 60h70 M15 60v20 M85 60v20 M50 12v32 M36 30l14 14l14 -14",
    "guard": "M20 85v-70h60v70 M40 85v-70 M60 85v-70 M12 85h76",
    "start": "M50 12a38 38 0 1 0 .1 0 M50 33v34 M36 54l14 14l14 -14",
    "glass": "M25 12h50 M25 88h50 M30 12q0 26 20 38q20 -12 20 -38 M30 88q0 -26 20 -38q20 12 20 38",
    "turning": "M80 30a36 36 0 1 0 6 24 M84 10v22h-22",
    "tick": "M14 54l24 26l48 -60",
    "cross": "M18 18l64 64 M82 18l-64 64",
    "question": "M30 34a20 20 0 1 1 28 18q-8 5 -8 14 M50 82v4",
    "hand": "M30 8h40l22 22v40l-22 22h-40l-22 -22v-40z M50 28v26 M50 68v4",
    "bar": "M50 10a40 40 0 1 0 .1 0 M24 50h52",
    "known": "M50 18a32 32 0 1 0 .1 0 M50 32a18 18 0 1 0 .1 0 M50 5v20 M50 75v20 M5 50h20 M75 50h20",
    "link": "M20 42a24 24 0 0 1 60 0 M34 58a14 14 0 0 1 32 0 M50 78v3 M12 88l76 -76",
}
