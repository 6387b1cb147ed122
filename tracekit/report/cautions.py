"""Cautions that every reader must see, in full; after trade.md's list, which has no source beyond common practice."""

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Loads fall",
        (
            "Vacuum holds the load. It can fall when a setting changes, when air or power fails, and after an "
            "emergency stop. Keep people out from under it."
        ),
    ),
    (
        "Energy stays",
        (
            "Pressure and vacuum remain after shut-off. Lock out and vent before you touch anything. Valves "
            "move when commanded by hand. Restored air or power can start motion."
        ),
    ),
    (
        "Blow-off",
        "Blow-off throws debris and is loud. Protect eyes and ears.",
    ),
    (
        "Tests",
        (
            "Enter the cell only in a safe stop. Blank a cup with a flat plate, never with a hand or the face. "
            "Use no soap: on the vacuum side it is drawn in and shows no bubbles. Close off the line section by "
            "section instead."
        ),
    ),
    (
        "No safety function",
        (
            "The part-present output and this page are no safety function. A suggestion is a prediction, not a "
            "permission. Try new settings at low speed with the area clear, and check the grip after every "
            "change."
        ),
    ),
    (
        "What comes first",
        (
            "Local rules, the machine's own risk assessment (ISO 12100, ISO 4414, ISO 10218) and licensed "
            "practice come before anything said here."
        ),
    ),
)

SHORT = (
    "Keep out from under the load. Safe stop before entering; lock out and vent before touching. Plate on the cup, "
    "never a hand. A suggestion is a prediction, not a permission. Local rules and the risk assessment come first."
)
