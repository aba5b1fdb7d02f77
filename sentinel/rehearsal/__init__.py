"""An invented band, honest in its physics, behind the demo, many tests and the figures of the verdict.

What is simulated, from the ground up:

- who there is: some 7,800 stations where six-metre amateurs live (``population``, ``areas.csv``);
- how they come: sporadic E clouds in one hop or several, F2, the transequatorial path, aurora, tropo, the
  ground (``openings``), meteors and aircraft (``scatter``); loss, fading and the decoder's threshold
  (``physics``); where nature would put all that (``skies``, ``plans``, ``homes``);
- what they say: QSOs with repeats, parity, contests, hashed calls (``habits``, ``exchanges``);
- what the decoder makes of noise (``false_decodes``);
- and the truth behind every line (``heard``, ``truth``), against which ``scoring`` holds what a watch said.

``kinds.build(kind, seed)`` makes a scenario. Nothing here was fitted to the watch: sizes, rates and losses
are published or the trade's common practice and say so where they stand; assumptions say that they are. The
core is never imported.

Left out, knowingly: other modes than FT8; antenna patterns (a station's gain is the same in all directions);
interference between signals in one slot beyond a flat loss; ducts, chordal sporadic E, backscatter.
"""
