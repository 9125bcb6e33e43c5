"""Room 3, what it means. Pure functions over arrays: readings in, facts out, and no sentence, file or clock.

    readings ──► seen/      joined, apart or unknown, pair by pair; marker touches are decoded in markers/
                   │
                   ▼
                 faults/    scenes of circuits tied by what was not expected; moves, breaks and shorts that
                   │        explain each scene with the fewest faults; explanations of one size are weighed
                   ▼        by the resistances (weighing)
                 wiring     the loom as found: every wire where it sits
                   │
                   ▼
                 joints/    ohms of every wire where it sits, from all readings at once; limits, decisions
                   │
                   ▼
                 doubts/    from the loom as found every reading is predicted: one that does not fit keeps the
                   │        verdict from pass
                   ▼
                 place/     centimetres along a wire, where readings tell them
                   │
                   ▼
                 assembly   rows, circuits, findings in order, three answers: wiring, joints, verdict

`judge` is that line. `change/` holds two such answers beside each other; `flexing` stands apart: one pair,
over time. The facts (`verdict`, `why`) become sentences in the room for words.
"""
