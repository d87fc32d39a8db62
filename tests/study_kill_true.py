"""A study that is killed in the slow tests: the true solver."""

from dataclasses import replace

from domemargin.studies.study.cases import reversal_solver
from domemargin.studies.study.study_file import load_study

_ALL = load_study("overnight")
STUDY = replace(_ALL, plan=replace(_ALL.plan, cases=512))
SOLVER = reversal_solver()
