"""A study that is killed in the tests: quick cases."""

from study_stand_in import SLOW
from test_study_runner import gauges

STUDY = gauges(250, 280, 8)
SOLVER = SLOW
