"""Which words a heading may use for each of our columns: plain words of the trade, of physics and of everyday speech.

No heading of any export stands here: a heading is taken apart into words, and each word speaks for or against a column.
"""

import re

_STEMS: dict[str, str] = {
    # how a word may be written -> the word that stands for it below
    r"clubs?|clubhead|stick|head": "club",
    r"balls?": "ball",
    r"speeds?|velocity|veloc|pace|fast|quick|spd|vel": "speed",
    r"attack|aoa|descent|blow": "attack",
    r"angles?|ang|degrees?": "angle",
    r"path|swings?|swung|travel|travels": "path",
    r"face|clubface|blade": "face",
    r"loft|lofted|leans?|leaning": "loft",
    r"dynamic|dyn|delivered|effective|impact": "delivered",
    r"back": "back",
    r"launch|launched|starts?|started|start|takeoff|sets|set|leaves|departure|initial": "launch",
    r"vertical|vert|vertically|v|rise|rises|climb|climbs|elevation|upward": "vertical",
    r"horizontal|horiz|horizontally|hor|h|azimuth|azi|direction|dir|line|heading|sideways": "horizontal",
    r"spin|spins|turns|turning|rotation|rot|revs|backspin": "spin",
    r"rate|total": "rate",
    r"axis": "axis",
    r"tilt|tilted|tilts|lean|roll": "tilt",
    r"carry|carries|carried|flies|flown|flying": "carry",
    r"distance|dist|length|long|far|range": "distance",
    r"side|lateral|lat|beside|offline|deviation|dev|dispersion|curve|curves": "side",
    r"off": "off",
    r"peak|apex|top|highest|max|maximum|maxheight|zenith": "peak",
    r"height|high|hgt": "height",
    r"land|landing|lands|landed|fall|falls|comes|descending|entry|touchdown": "land",
    r"down": "down",
    r"up": "up",
    r"in": "in",
    r"out": "out",
    r"open": "open",
    r"shut|closed|close": "shut",
    r"left": "left",
    r"right": "right",
    r"time|duration|hang|hangtime|seconds": "time",
    r"air|flight|aloft|stays": "air",
    r"strike|contact|hit|impactpoint|location": "strike",
    r"toe|heel|across": "toe",
    r"low|vertically": "low",
    r"ratio|quotient": "ratio",
    r"plane|arc": "arc",
    r"incline|inclination|slope|steepness": "incline",
    r"bottom|lowest|lowpoint|nadir": "bottom",
    r"to": "to",
    r"student|pupil|player|member|client|name|who|golfer|person|user": "student",
    r"coach|teacher|instructor|pro|professional|taught": "coach",
    r"session|visit|lesson|appointment": "session",
    r"shot|shots|stroke|count|counter|number|no|nr|num|index|idx": "number",
    r"block|set|bout": "block",
    r"date|day": "date",
    r"when|struck|timestamp|at|clock|datetime|moment": "when",
    r"hand|handed|handedness|plays|dominant": "hand",
    r"phase|stage": "phase",
    r"cue|instruction|drill|prompt": "cue",
    r"with|type|used": "with",
}
_WORDS = {stem: re.compile(f"(?:{pattern})") for pattern, stem in _STEMS.items()}

SPEAKS: dict[str, dict[str, float]] = {
    # our column -> how far each word speaks for it (1: by itself) or against it
    "student": {"student": 1.0},
    "coach": {"coach": 1.0},
    "session": {"session": 1.0, "number": 0.2},
    "block": {"block": 1.0, "number": 0.1},
    "shot": {"number": 0.8, "ball": 0.2, "session": -0.6},
    "struck_at": {"when": 0.9, "time": 0.6, "date": 0.4, "air": -0.9},
    "session_day": {"date": 0.8, "session": 0.3},
    "club": {"club": 0.8, "with": 0.4, "speed": -1, "path": -0.6, "face": -0.6, "attack": -0.6},
    "hand": {"hand": 1.0},
    "phase": {"phase": 1.0},
    "cue": {"cue": 1.0},
    "club_speed_mps": {"speed": 0.6, "club": 0.5, "path": 0.3, "ball": -0.9},
    "attack_up_deg": {"attack": 1.0, "angle": 0.1, "down": 0.35, "up": 0.35, "in": 0.1, "ball": 0.1, "land": -0.8,
                      "vertical": 0.3, "club": 0.2, "launch": -0.8},
    "path_out_deg": {"path": 1.0, "club": 0.2, "in": 0.3, "out": 0.4, "horizontal": 0.2, "face": -0.9, "to": 0.1,
                     "speed": -1, "angle": 0.05, "ball": -0.3},
    "face_open_deg": {"face": 0.9, "open": 0.5, "shut": 0.5, "angle": 0.1, "path": -0.9, "loft": -0.6, "to": 0.05,
                      "back": -0.5, "strike": -0.6},
    "face_to_path_deg": {"face": 0.55, "path": 0.55, "to": 0.1},
    "delivered_loft_deg": {"loft": 0.9, "delivered": 0.3, "face": 0.1, "back": 0.3, "spin": -0.9, "axis": -0.9},
    "strike_toe_mm": {"toe": 0.7, "strike": 0.4, "horizontal": 0.3, "face": 0.1},
    "strike_high_mm": {"strike": 0.4, "vertical": 0.4, "low": 0.3, "height": 0.3, "face": 0.1},
    "ball_speed_mps": {"speed": 0.6, "ball": 0.5, "launch": 0.2, "club": -0.9, "land": -0.6},
    "launch_up_deg": {"launch": 0.5, "angle": 0.35, "vertical": 0.5, "up": 0.2, "height": 0.35, "horizontal": -0.6,
                      "peak": -0.8, "ball": 0.05, "land": -0.8},
    "launch_out_deg": {"launch": 0.5, "horizontal": 0.6, "out": 0.2, "off": 0.1, "to": 0.2, "angle": 0.1, "side": 0.3,
                       "vertical": -0.6, "ball": 0.05, "land": -0.6},
    "spin_rpm": {"spin": 0.8, "rate": 0.3, "axis": -0.7, "tilt": -0.7, "loft": -0.7},
    "spin_tilt_deg": {"axis": 0.7, "tilt": 0.7, "spin": 0.3, "to": 0.05, "loft": 0.2, "rate": -0.5, "side": 0.1},
    "carry_m": {"carry": 1.0, "distance": 0.7, "length": 0.6, "side": -0.7, "rate": -0.1, "land": 0.1},
    "side_out_m": {"side": 0.8, "off": 0.4, "horizontal": 0.3, "land": 0.3, "distance": 0.1, "carry": 0.1,
                   "left": 0.3, "right": 0.3, "launch": -0.6},
    "peak_m": {"peak": 0.8, "height": 0.5, "air": 0.1, "distance": -0.3},
    "land_angle_deg": {"land": 0.8, "angle": 0.3, "down": 0.5, "at": 0.1, "attack": -0.4, "side": -0.5},
    "flight_s": {"time": 0.6, "air": 0.6, "up": 0.3, "carry": 0.1},
    "speed_ratio": {"ratio": 0.8, "speed": 0.3},
    "arc_azimuth_deg": {"arc": 0.6, "horizontal": 0.5},
    "arc_incline_deg": {"arc": 0.6, "incline": 0.6, "vertical": 0.2},
    "arc_bottom_fwd_mm": {"arc": 0.3, "bottom": 0.9},
}  # fmt: skip


_FOREIGN = tuple(
    (re.compile(pattern), word)
    for pattern, word in (
        # German, French, Spanish, Swedish, which put words together -> the words above
        (r"flugzeit|temps de vol\b|tiempo de vuelo|flygtid", "air time"),
        (r"schlägerkopf|schläger|klubbhuvud|klubb(?:an?)?|\bpalo\b", "club"),
        (r"geschwindigkeit|vitesse|velocidad|hastighet", "speed"),
        (r"\bbolas?\b|\bballes?\b|\bboll(?:en)?", "ball"),
        (r"eintreff|angriffs?|\battaque|\bataque|\battack(?=vinkel)", "attack"),
        (r"schlagflächen?|\bcara\b|\bblad(?=vinkel)", "face"),
        (r"schwungbahn|\bchemin\b|trayectoria|svingbana", "path"),
        (r"abflug|lancement|départ|lanzamiento|\bsalida|utgångs|\bstart(?=winkel|richtung)", "launch"),
        (r"richtung|dirección|riktning", "direction"),
        (r"winkel|ángulo|vinkel", "angle"),
        (r"achse|\baxe\b|\beje\b|axel\b", "axis"),
        (r"\beffet\b|\befecto\b|\bgiro\b|\bspinn?(?=rate|achse|axis|axel|\b)", "spin"),
        (r"\btasa\b|\btaux\b", "rate"),
        (r"flugweite|\bportée\b|\bvuelo\b", "carry"),
        (r"seitliche?|seiten|latéral|écart|abweichung|desviación|sidled", "side"),
        (r"flughöhe|höhe|hauteur|altura|höjd", "height"),
        (r"\blande(?=angle| )|aufprall|atterrissage|caída|landnings", "land"),
        (r"uhrzeit|\bzeit\b|\bheure\b|\bhora\b|\btid\b", "time"),
        (r"\bdatum\b|\bfecha\b", "date"),
        (r"spieler|schüler|joueur|élève|jugador|alumno|spelare|\belev\b|\bnombre\b|\bnom\b|\bnamn\b", "student"),
        (r"^n[°º]$", "number"),
    )
)


def words_of(heading: object) -> list[str]:
    """Return the words of a heading that are known here, by their stems; units in brackets are left out.

    >>> words_of("Club Head Speed [mph]"), words_of("launchAngle_v"), words_of("AoA")
    (['club', 'club', 'speed'], ['launch', 'angle', 'vertical'], ['attack'])
    """
    text = re.sub(r"[\[({][^\])}]*[\])}]\s*$", " ", str(heading))
    text = re.sub(r"(?<=[a-z])(?=[A-Z][A-Za-z])", " ", text)
    text, found = text.strip().casefold(), []
    for foreign, word in _FOREIGN:
        text = foreign.sub(f" {word} ", text)
    for word in re.findall(r"[^\W\d_]+", text):
        stems = [stem for stem, pattern in _WORDS.items() if pattern.fullmatch(word)]
        found += stems
    return found


def speaks_for(heading: object, column: str) -> float:
    """Return how far a heading's words speak for a column: 1 and more is plain, 0 says nothing, below 0 is against.

    >>> speaks_for("Ball speed", "ball_speed_mps") > 1 > speaks_for("Ball speed", "club_speed_mps")
    True
    """
    words = words_of(heading)
    known = SPEAKS[column]
    total = sum(known.get(word, 0.0) for word in dict.fromkeys(words))
    strange = sum(word not in known for word in dict.fromkeys(words))
    return total - 0.15 * strange
