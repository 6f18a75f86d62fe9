"""The trade's words and ours, one sentence each, for a page that is read outside the trade."""

import re

_WORDS = {
    # The bench and the test
    "pull": "One full-throttle run of the engine from low speed to high, logged throughout.",
    "sweep": "A pull in which the dyno lets the engine speed rise at a set rate.",
    "back-to-back": "Two set-ups tested one after the other with one thing changed between them.",
    "observed power": "Power as the dyno measured it in the weather of that day.",
    "corrected power": "Power converted by a standard's formula to its reference weather.",
    "barometer": "The pressure of the air around the engine.",
    # Air and pressure
    "boost": "Pressure in the intake manifold above that of the air around the engine.",
    "back pressure": "Pressure in the exhaust between the engine and the turbine.",
    "pressure ratio": "Absolute pressure after the compressor divided by that before it.",
    "charge temperature": "Temperature of the air in the intake manifold, after the cooler.",
    "pumping": "The work that the pistons spend on pushing exhaust out and drawing air in.",
    "breathing": "How much air a cylinder really takes, against what its volume would hold.",
    # The turbo
    "compressor": "The wheel of the turbo that squeezes the intake air.",
    "turbine": "The wheel of the turbo that the exhaust drives.",
    "A/R": "A turbo housing's size: area of its passage over its distance from the axis.",
    "trim": "A wheel's inlet diameter squared over its outer diameter squared, times 100.",
    "corrected flow": "Air flow converted to the inlet air that a compressor map refers to.",
    "surge": "The compressor's air flow breaking down and turning back, heard as a flutter.",
    "choke": "The flow above which a compressor or turbine passes no more, whatever drives it.",
    "spool": "The turbo coming up to the speed at which it makes boost.",
    "boost threshold": "The engine speed at which the exhaust suffices for the boost asked for.",
    "lag": "The time from opening the throttle at a held engine speed until the boost is there.",
    # The gate
    "gate": "The valve that lets exhaust past the turbine, and so holds the boost.",
    "crack pressure": "The boost at which the gate begins to open.",
    "creep": "Boost that climbs with engine speed because the gate cannot pass enough exhaust.",
    "spike": "A short peak of boost above the target as the turbo comes up.",
    "duty": "The share of time for which a control valve or an injector is open.",
    "bottom port": "The gate's lower connection, whose pressure opens it.",
    "top port": "The gate's upper connection, also called dome, whose pressure closes it.",
    # Springs
    "spring rate": "How much force a spring adds for each unit of length it is pressed.",
    "seat load": "The force with which a valve spring holds a closed valve on its seat.",
    "coil bind": "A spring pressed until its coils touch.",
    # Fuel and spark
    "lambda": "Air over the air that the fuel needs to burn whole: below 1 is rich, above 1 lean.",
    "best spark": "The spark timing that makes the most torque when nothing knocks.",
    # Words of these workbooks
    "bench": "Here: the folder that holds the logs, the engines and what was found.",
    "build": "Here: the file that describes an engine with its turbo, cooler, gate and fuel.",
    "run": "Here: one log with what was decided about it.",
    "split": "Here: the shares that boost, back pressure, heat and the rest have in a difference.",
    "finding": "Here: a comparison that is worth telling.",
    "band": "Here: the range within which the true value lies with the stated confidence.",
    "scatter": "How much repeats of the same test differ among themselves.",
    "drift": "A slow change over a day of testing that has nothing to do with the part tested.",
    # Evidence
    "measured": "Read from an instrument during the test.",
    "worked out": "Computed from measured values by a formula whose error is small beside them.",
    "estimated": "Computed with assumptions that were not measured on this engine.",
    "cannot tell": "What was logged does not decide the question.",
}


def terms_in(text):
    """The words of the glossary that a text uses, with their sentences, in order of the alphabet.

    >>> [word for word, _ in terms_in("Three pulls each; back pressure passes boost.")]
    ['back pressure', 'boost', 'pull']
    """
    found = [w for w in _WORDS if re.search(rf"(?<!\w){re.escape(w)}s?(?!\w)", text, re.IGNORECASE)]
    return [(word, _WORDS[word]) for word in sorted(found, key=str.lower)]
