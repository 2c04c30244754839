"""Module 6: find the fault on a vehicle, and prove it."""

from grader.exercise.model import Module
from grader.modules.diagnosis import cars, proof, reading, repair, roads, shortlist

MODULE = Module(
    key="m06_diagnosis",
    title="Find the fault, and prove it",
    minutes=180,
    exercises=(
        repair.UNSAFE,
        shortlist.WORDS,
        reading.CARDS,
        shortlist.OF_100,
        shortlist.ROAD_COST,
        roads.NEXT_TEST,
        roads.CHART,
        reading.LIMIT,
        reading.FALSE_ONE,
        reading.VOID,
        shortlist.EXCLUDED,
        proof.PROVE_WRONG,
        proof.PROOF,
        repair.ORDER,
        proof.SOUND,
        proof.PAIR,
        repair.DISTURBED,
        repair.COMEBACK,
        cars.FIRST,
        cars.SECOND,
        cars.THIRD,
        cars.FOURTH,
        repair.REPORT,
        repair.OWNER,
    ),
)
