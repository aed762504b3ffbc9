"""What everyone who is handed a result should know."""

CAUTIONS: tuple[str, ...] = (
    "Grappling injures people. Train chokes and joint locks under a qualified instructor and "
    "within your local rules.",
    "Points and moments are a study aid that a program proposed and a person checked. This is no "
    "referee's decision, and no medical or safety advice.",
    "Footage shows people. Share it, and pictures from it, only with the consent of everyone in "
    "it, or of their parents.",
)
