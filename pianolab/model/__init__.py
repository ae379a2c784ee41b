"""What is recorded on a visit: plain frozen records, no behaviour beyond checking themselves."""

from pianolab.model.buyer import ASPECTS, AspectName, Buyer, load_profiles
from pianolab.model.opinions import Answer, TouchOpinion, TouchTrial, check_pupil
from pianolab.model.records import (
    Capture,
    Comparable,
    Condition,
    Examiner,
    Finding,
    FindingState,
    GapKind,
    Photo,
    Piano,
    PianoKind,
    Processing,
    Recording,
    RecordingPurpose,
    Room,
    SellerKind,
    SoundGap,
    StorageKind,
    SurveyRecord,
    Visit,
    new_id,
)

__all__ = [
    "ASPECTS",
    "Answer",
    "AspectName",
    "Buyer",
    "Capture",
    "Comparable",
    "Condition",
    "Examiner",
    "Finding",
    "FindingState",
    "GapKind",
    "Photo",
    "Piano",
    "PianoKind",
    "Processing",
    "Recording",
    "RecordingPurpose",
    "Room",
    "SellerKind",
    "SoundGap",
    "StorageKind",
    "SurveyRecord",
    "TouchOpinion",
    "TouchTrial",
    "Visit",
    "check_pupil",
    "load_profiles",
    "new_id",
]

Record = (
    Piano
    | Visit
    | Examiner
    | Finding
    | Recording
    | SurveyRecord
    | Photo
    | Buyer
    | TouchOpinion
    | TouchTrial
    | Comparable
    | Answer
)
"""Every kind of record that a casebook keeps."""
