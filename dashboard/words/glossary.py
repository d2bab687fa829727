"""Words of the forecasts, explained in a technician's: one sentence or two each."""

from __future__ import annotations

TERMS = {
    "wear": "Slow wear: brushes and commutator wear a little with every mile; ripple grows and speed falls.",
    "drag": "Drag: something brakes the pump, a bearing or dirt in it: current up, speed down, faster and "
    "faster. It has not started in a sound pump; the chance that it has is worked out anew at each visit.",
    "hydraulic": "Hydraulic wear: the pumping part leaks inside, so it has less to push: current down, speed "
    "up, and less fuel delivered.",
    "commutator": "Commutator damage: a bar or coil is burnt, open or shorted: ripple jumps. Such a pump may "
    "not start again where it stopped.",
    "brush": "Brush damage: a brush sticks, chips or has lost its spring: speed falls on good volts, sparks.",
    "sudden": "Unpredictable: failures that no reading announces, such as a broken wire inside; every pump "
    "carries them, also a new one.",
    "prior": "From its type: where a pump has few readings of its own, the answer leans on how others of its "
    "type did.",
    "risk": "Risk: of a hundred pumps in this state, so many fail on the road before their"
    " next planned stop.",
}
