"""The judge: two skeletons in space → which position this is, who is on top, and why.

Written rules over what encloses what, who lies how, and where trunk and knees are; the same rules
are the definitions in the docs.
"""

from pipeline.positions.judging.judge import Verdict, judge_poses
from pipeline.positions.judging.rules import RULES, Rule
from pipeline.positions.judging.skeleton import POSE_JOINTS

__all__ = ["POSE_JOINTS", "RULES", "Rule", "Verdict", "judge_poses"]
