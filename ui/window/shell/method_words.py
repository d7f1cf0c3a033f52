"""What is said at the first start and under Help: how to hold the finger, what this is not, how it works."""

from __future__ import annotations

FIRST_WORDS = (
    "Lay the tip of a finger on the lens so that it covers all of it, as lightly as a feather, and keep it still "
    "while you lie or sit.",
    "This is not a medical device and finds no illness; whatever it shows, chest pain, fainting or a heart that "
    "races or stumbles needs medical help.",
    "If a lamp or flash shines under the finger it can get hot: take the finger off before it hurts.",
)

METHOD = (
    (
        "From light to beats",
        "Blood takes in light, so each beat darkens the fingertip a little. Each frame becomes one mean colour "
        "with its own time; the rate is never assumed to be steady, and a gap of more than 0.2 s is never "
        "bridged. A beat is timed at the steepest fall of brightness, by laying the recording’s own median beat "
        "over it, which is finer than one frame. Among five marks of the pulse wave the middle of that edge was "
        "found the most accurate (Peláez-Coca et al. 2022, IEEE J Biomed Health Inform 26).",
    ),
    (
        "What counts",
        "Intervals that movement, a weak pulse, a missed, extra or irregular beat or a gap has touched are left "
        "out with their reason, in the spirit of Lipponen & Tarvainen 2019 (J Med Eng Technol 43:173-181). "
        "Nothing is filled in, and no difference is taken across what was left out.",
    ),
    (
        "The figures",
        "RMSSD, SDNN, pNN50 and mean heart rate as defined by the Task Force of ESC and NASPE 1996 (Circulation "
        "93:1043-1065). Every figure comes with a 95 % interval: what two minutes can say of a morning, and what "
        "the timing of a camera adds.",
    ),
    (
        "Usable or not",
        "A reading is usable if enough of it was kept, the pulse stands well over the noise, and independent "
        "estimates of the rate agree. Otherwise it says what was in the way, and takes part in nothing.",
    ),
    (
        "Usual range",
        "The mean of your mornings of the 60 days before this week, plus and minus half their standard deviation, "
        "on the logarithm of RMSSD (Plews et al. 2013, Sports Med 43:773-781; Buchheit 2014, Front Physiol 5:73). "
        "The week’s average is held against it; one morning by itself says little. Mornings compare only at the "
        "same time and in the same posture.",
    ),
    (
        "What runners commonly do",
        "Keep to the plan inside the range, and swap a hard session for an easy one below it, as in trials of "
        "training guided by variability (Kiviniemi 2007, Eur J Appl Physiol 101:743-751). How you feel outweighs "
        "any number here. When you are ill, rest, and ask a doctor and your local guidance.",
    ),
    (
        "How you noted it",
        "Sleep, stress, fatigue and soreness from 1 to 7 are the four items of Hooper & Mackinnon 1995 (Sports "
        "Med 20:321-327).",
    ),
    (
        "Your data",
        "Everything stays in one folder on this computer, readable by you alone. Nothing is sent anywhere; the "
        "only address ever used is a camera’s that you typed yourself.",
    ),
)
