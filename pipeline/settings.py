"""Every number a user might want to change: one frozen dataclass a room, each with its reason.

Times are seconds, angles degrees, lengths trunk lengths unless a name says otherwise.
"""

from dataclasses import dataclass, field


@dataclass(frozen=True)
class FootageSettings:
    """How pictures are taken from a file."""

    rate_hz: float = 5.0
    """Samples a second. A rise lasts about 0.5 s or more, so 5 Hz sees it at least twice."""

    decode_threads: int = 2
    """Threads a decoder may use; 1 when many files are read side by side."""

    gap_s: float = 0.5
    """Seconds without a picture that are recorded as a gap. Phones slow down to about 12 pictures a
    second in the dark, so half a second is never the camera's own rhythm."""

    rough_side: int = 1280
    """Pixels. For reading, pictures at least this long are decoded without the codec's smoothing of
    block edges, a fifth of the work, where key frames are near enough; 0 for never. What is left
    out adds up until the next key frame: 38 dB and more (PSNR) on noisy 1080p at 7 to 10 Mbit/s,
    and keypoints move by 0.03 % of the pair's size in the middle, 1.6 % at the 95th percentile."""

    rough_keys_s: float = 2.5
    """Seconds between key frames up to which that is done: cameras' and phones' are 0.5 to 2."""

    distrust_s: float = 10.0
    """After damage, pictures are dropped until the next key frame, at most this many seconds:
    encoders' defaults put key frames no further apart than that."""

    proxy_max_side: int = 1280
    """Longest side in pixels of the copy made for browsers; enough to see a hand on a collar."""

    proxy_crf: int = 23
    """Quality of that copy, the constant rate factor of x264 (its default)."""

    proxy_key_every: int = 15
    """Pictures between key frames of that copy, so that stepping back is quick."""


Corners = tuple[tuple[float, float], ...]
"""x, y of points in source pixels."""


@dataclass(frozen=True)
class BodiesSettings:
    """How people are found in a frame."""

    mediapipe_detection: float = 0.1
    """MediaPipe's least confidence that something is a person, 0–1. Low, since entangled people
    score low; duplicates and bystanders are told apart later."""

    mediapipe_presence: float = 0.2
    """MediaPipe's least confidence that a found person's landmarks are there, 0–1."""

    region_margin: float = 1.2
    """Side of the crop MediaPipe reads over the long side of the pair's box. On four views of two
    people both were found in 42 of 52 samples at 1.2, 38 at 1.4, 34 at 1.8, 32 in whole frames."""

    region_shrink: float = 0.8
    """Share of the last box that is kept where the pair's box shrinks; it grows at once, so that an
    arm that shoots out is not cut off."""

    region_patience: int = 2
    """Samples without the pair after which it is looked for in the whole frame again."""

    region_motion_every: int = 5
    """While the pair is lost, where motion is gets a second look every so many samples."""

    least_confidence: float = 0.3
    """Keypoints below it don't count towards a body's box."""

    mat: Corners = ()
    """Corners of the mat that counts, in order round it, source pixels; empty if the whole picture
    does. Kept with each footage file in the library."""

    mat_margin: float = 0.15
    """Diagonals of a body's box that it may be off the mat: at its edge, feet are placed about so
    wrongly, and athletes roll over it before anyone says stop."""

    duplicate_share: float = 0.12
    """Median distance of two findings' keypoints, in diagonals of a body's box, below which they
    are one person. Two athletes chest to chest are still further apart than that."""

    furthest_apart: float = 1.6
    """Distance of two people's middles, in mean diagonals of their boxes, beyond which they are no
    pair: about two body lengths."""


@dataclass(frozen=True)
class PositionsSettings:
    """How probabilities become segments."""

    evidence_s: float = 0.5
    """Seconds. Samples closer than this say the same thing twice, so each sample's vote counts in
    proportion to the time it stands for; results then don't depend on the sampling rate."""
    doubt: float = 0.25
    """Probability. Where no position is more likely than this for a while, the segment is
    ``unknown``: a wrong label costs a human more than an open question. The surer one position
    is, the less the sample speaks for ``unknown``; below 1."""
    gap_s: float = 2.0
    """Seconds. A longer hole between samples is not bridged by a position but by ``unknown``."""
    rare: float = 0.02
    """Weight of a transition the table doesn't list: possible, but only on strong evidence."""
    border_s: float = 0.5
    """Seconds. A border's confidence is the chance that it is at most this far off."""
    looks_weight: float = 0.5
    """Exponent of what the pair looks like when lifted into space; 0 ignores it. The more it
    counts, the better are bodies never seen named (0.71 of poses by others at 0, 0.78 at ½, 0.79 at
    1), and the worse are films whose reader errs much (0.94, 0.92 and 0.91)."""
    reader_weight: float = 0.75
    """Exponent of the body reader's own position scores where it has any; 0 ignores them. On
    generated bouts with its measured scores the best of 0, ¼, ½, ¾ and 1 are ¾ and 1; below 1
    because footage differs from the pictures it learned from."""
    model: str = ""
    """Path of the position model's file; empty for the one that comes with Matline."""


@dataclass(frozen=True)
class ReviewSettings:
    """How the correcting page is served and what it puts first."""

    max_body_bytes: int = 64_000
    """Bytes. The largest request, a long note with its frame, is a few thousand."""
    max_window_s: float = 120.0
    """Seconds of keypoints sent at once; 2 minutes at 5 a second are 250 kB."""

    unsure: float = 0.2
    """Chance of being wrong above which a doubt is named to the human."""
    turned: float = 0.55
    """Part of the movement that an exchange of A and B would save; 0.5 is a coin's toss."""
    border_s: float = 1.0
    """Seconds around a border in which its doubt is measured, and about what a look saves."""
    look_s: float = 2.0
    """Seconds to find one's way at a new place."""
    longest_look_s: float = 6.0
    """Seconds of a segment that are watched at most before deciding."""
    moment_s: float = 5.0
    """Seconds of wrong footage that one wrong moment weighs as much as; common practice, no source:
    a study counts sweeps and passes, however short they are."""
    rare_share: float = 0.02
    """Share of the bout's time below which a position is rare in it."""
    rare_weight: float = 1.5
    """A rare position is worth more to whoever studies the bout, and likelier a slip."""

    confident: float = 0.8
    """Confidence from which proposals are audited: those a human would be inclined to skip."""
    audit_share: float = 0.1
    """Share of the confident proposals to check."""
    audit_least: int = 5
    """Fewer say nothing."""
    audit_most: int = 20
    """20 right of 20 already say "at least 84 %" (Wilson); more would cost more than they tell."""
    audit_every: int = 4
    """One audit after so many doubtful segments, so that it is met among them."""


@dataclass(frozen=True)
class AthletesSettings:
    """How two people become athletes A and B. Costs are in nats (−log likelihood)."""

    min_confidence: float = 0.05
    """0–1. Below it a keypoint counts as not seen."""
    min_keypoints: int = 5
    """Keypoints. Fewer are a hand or a foot at the picture's edge, not a person."""
    max_people: int = 6
    """People kept a sample, largest first: two athletes, a referee, and three to be wrong about."""
    duplicate_tolerance: float = 0.3
    """Trunk lengths. Keypoints of one person found twice differ by less."""
    duplicate_similarity: float = 0.6
    """0–1. In rendered bouts 0.1 % of samples show two bodies that alike (0.5: 3 %)."""
    still_spread: float = 0.12
    """Trunk lengths. Keypoints of a still body move this much from reading to reading."""
    speed_spread: float = 0.6
    """Trunk lengths a second. How wrong "goes on as before" is: in rendered bouts at 5 Hz half of
    all steps are under 0.2, while exchanged bodies are at least 0.48 apart in 99 of 100."""
    predict_s: float = 0.4
    """Seconds a body is believed to go on as it moved; grapplers turn within half a second."""
    jump_cost: float = 4.0
    """The most one movement costs in choosing people: less than two samples missing, for readers
    place a body wildly now and then."""
    exchange_jump_cost: float = 8.0
    """The most one movement costs in deciding who is who, where nobody goes missing instead."""
    first_seen_cost: float = 1.0
    """Someone new at A's or B's place."""
    missing_cost: float = 2.5
    """A fifth of a second without an athlete: more than any distance to the other costs."""
    missing_pair_cost: float = 4.0
    """The same where a pair reader is sure of both: as much as one jump, so that whoever is placed
    wildly for a sample is left out, and nobody in a throw or a sweep. With 2.5, 8 % of samples of
    rendered bouts lost an athlete who was read well; 4 to 8 are as good as each other there."""
    apart_cost: float = 2.0
    """A fifth of a second far away from each other; half of it at 3 trunk lengths."""
    size_weight: float = 1.0
    """A fifth of a second, per e-fold smaller than the largest person: bystanders stand behind."""
    clothing_weight: float = 2.0
    """Wholly other colours than before."""
    clothing_rate: float = 0.1
    """Part of what is worn learned anew a sample when apart; a tenth of that when in contact."""
    looks_per_s: float = 20.0
    """Weight a second of looks at clothing, hair and skin. Neighbouring samples see the same folds.
    In 13 filmed bouts 2 left 11 % of time under the wrong name, 10 left 4, 20 and 30 left 3."""
    size_spread: float = 0.3
    """Of the log ratio of both trunk lengths, from sample to sample."""
    exchange_cost: float = 3.0
    """Added to an exchange: the choice of people already followed movement."""
    stranger_leap: float = 2.0
    """Trunk lengths from one sample to the next that no body moves: a throw makes 1.4 at 5 Hz."""
    stranger_speed: float = 3.0
    """Trunk lengths a second: what somebody may have walked while not seen, 1.5 m/s."""
    stranger_unseen_s: float = 2.0
    """Seconds between two samples beyond which nothing is called a leap."""
    stranger_apart: float = 1.5
    """Trunk lengths between the middles of two trunks from which they are not entangled."""
    top_height_weight: float = 3.0
    """Log odds of being on top a trunk length of height: 0.95 at one."""
    top_lasts_s: float = 8.0
    """Seconds one athlete stays on top, on average."""


@dataclass(frozen=True)
class GeometrySettings:
    """How skeletons become features."""

    min_confidence: float = 0.05
    """0–1. Below it a keypoint counts as not seen: readers place even what they don't believe."""
    scale_window_s: float = 2.0
    """Seconds. Running median of the trunk length: bodies don't grow, zooms take about as long."""
    floor_window_s: float = 0.5
    """Seconds. Running median of the lowest body point: takes out one wild ankle at 5 Hz."""
    rate_reach_s: float = 0.35
    """Seconds on either side for changes a second: at least one sample a side from 3 Hz up."""


OUTCOME_S = 10.0
"""Seconds after the end of a rise or lift in which a sweep or the like counts as what it led to;
common practice, no source. One number for what is read, counted and reported."""


@dataclass(frozen=True)
class StudySettings:
    """How bouts are counted."""

    outcome_s: float = OUTCOME_S
    """Seconds after a rise or lift in which a sweep or stand-up counts as what it led to."""
    follow_s: float = 10.0
    """Seconds after an attempt in which something counts as having followed it."""
    edge_s: float = 60.0
    """Seconds at the start and end of a bout that are looked at apart."""
    few: int = 10
    """Attempts. With fewer, "half of them held" means anything from 24 to 76 %: say so."""
    confidence: float = 0.95
    """Probability of an interval of uncertainty, the usual one."""


@dataclass(frozen=True)
class OvernightSettings:
    """How long work is cut into pieces and spread."""

    chunk_s: float = 60.0
    """Seconds of footage in one piece at most: what is read again after a power cut."""
    max_side: int = 1920
    """Pixels. Larger pictures are made smaller before reading: a pair that fills a tenth of a 4K
    picture still has more pixels than the readers' inputs."""
    attempts: int = 2
    """Times a piece is tried when its worker dies; one that kills two is not tried again."""
    limit_s: float = 120.0
    """Seconds any task may take besides its work: starting a worker, loading networks, on a machine
    that is five times overbooked."""
    limit_share: float = 10.0
    """Seconds a piece may take for each of its own before it counts as hanging: 4K on one busy core
    takes 4 to 7."""
    limit_bytes_per_s: float = 1e6
    """Bytes a second at which a file can be looked through on the slowest cards and shares."""
    grace_s: float = 120.0
    """Seconds that pieces in hand are waited for when the time of `--until` has come."""
    bout_pause_s: float = 60.0
    """Seconds without action that end a bout. Stops for a belt or a cut last about as long; between
    two bouts on a mat a few minutes pass (common practice, no source)."""
    bout_least_s: float = 30.0
    """Seconds of action that make a bout; the shortest submissions are quicker and stay in the
    file's own entry."""
    bout_margin_s: float = 3.0
    """Seconds kept before and after a bout: the handshake, and what a reader sees late."""

    def for_work(self, footage_s: float) -> float:
        """Return the seconds that working on so much footage may take."""
        return self.limit_s + self.limit_share * footage_s

    def for_file(self, size_bytes: int) -> float:
        """Return the seconds that looking through a file of this size may take."""
        return self.limit_s + size_bytes / self.limit_bytes_per_s


@dataclass(frozen=True)
class MomentsSettings:
    """What counts as a moment; the definitions in words are in docs/moments.md."""

    rise_gain: float = 0.25
    """Trunk lengths. Shoulders of someone lying who comes up onto an elbow gain about as much."""
    rise_within_s: float = 1.5
    """Seconds in which it is gained; slower is sitting up, not coming up."""
    rise_keep_s: float = 0.4
    """Seconds it is kept: two samples at 5 Hz; less is a bridge or a wild keypoint."""
    lift_gain: float = 0.30
    """Trunk lengths. More than a kneeling athlete's hips move in settling their weight."""
    lift_within_s: float = 1.5
    """Seconds in which it is gained."""
    lift_keep_s: float = 0.3
    """Seconds it is kept; a lift tips over sooner than a rise ends."""
    lift_overlap: float = 0.3
    """Shared width over the narrower body's: who lifts is underneath, not beside."""
    lift_knee: float = 0.35
    """Trunk lengths of the lower knee over the mat: on it a knee is 0.15 high, carried 0.6 to 1.1
    (means over solved poses)."""
    lift_foot: float = 0.35
    """Trunk lengths of the lower ankle over the mat, on which it is 0.2 high, carried 0.7 to 0.9:
    who stands or kneels on the own legs was not lifted."""
    steady_s: float = 0.45
    """Seconds. Running median of heights: three samples at 5 Hz, so one wild sample is none."""
    reached_s: float = 0.4
    """Seconds a position lasts to count as reached; shorter is flicker."""
    pause_s: float = 1.0
    """Seconds of scramble or doubt that don't end a control."""
    gap_s: float = 5.0
    """Seconds a change may take from one settled position to the next."""
    hold_s: float = 3.0
    """Seconds that make it held and not an attempt: the control time of published rule books."""
    outcome_s: float = OUTCOME_S
    """Seconds after a rise or lift in which a sweep counts as what it led to."""


@dataclass(frozen=True)
class ClipsSettings:
    """How clips for teaching are cut and drawn."""

    lead_in_s: float = 4.0
    """Seconds before a moment starts: enough to see the grips it came from."""
    lead_out_s: float = 2.0
    """Seconds after it ends: a held position has been seen for 3 s by then."""
    speed: float = 1.0
    """Speed within the moment itself, 1 as it happened, 0.5 half as fast."""
    freeze_s: float = 0.0
    """Seconds the picture stands still at the peak."""
    still_every_s: float = 0.1
    """Seconds between copies of a still picture, so that players and editors don't wait for it."""
    max_side: int = 1280
    """Longest side of the picture in pixels; projectors and phones show no more."""
    crf: int = 20
    """Quality, the constant rate factor of x264: better than its default 23, as text is drawn."""
    bridge_s: float = 0.6
    """Seconds between two samples of a skeleton that may be bridged by a straight line; three
    samples at 5 a second. Over longer holes nothing is drawn."""
    trace_height: float = 0.15
    """Height of the trace strip, part of the picture's."""
    head: float = 0.5
    """Trunk lengths. Radius of what is blurred around a head, which is about 0.45 high (head 0.13
    and trunk 0.288 of stature: Drillis & Contini as tabulated in Winter, from memory)."""


@dataclass(frozen=True)
class LearningSettings:
    """How the position model learns from what a person accepted and corrected."""

    folds: int = 5
    """Parts of the bouts that take turns in not being learnt from; the usual number."""
    passes: tuple[int, ...] = (2, 5, 10, 20)
    """How often all samples may be gone through; the folds say which is best."""
    rate: float = 1e-4
    """Learning rate of Adam, a tenth of its default: what the model knows is to be bent, not
    overwritten. With 3e-4, five bouts made it worse on others (docs/improve.md)."""
    border_s: float = 0.3
    """Seconds on either side of a border that are not learnt from: nobody cuts finer than that."""
    least_bouts: int = 2
    """Bouts to learn from, besides those kept apart: folds need two. More help more
    (docs/improve.md)."""
    apart_share: float = 0.25
    """Share of the bouts that are kept apart to judge by, when they are first chosen."""
    whole: float = 0.95
    """Part of a bout that a person must have seen for it to be judged by."""
    suspect_share: float = 0.5
    """Share of a segment's samples that must contradict it for it to be worth a second look."""
    seed: int = 0
    """Of folds and of the order of samples, so that the same corrections give the same model."""


@dataclass(frozen=True)
class Settings:
    """All settings, room by room."""

    footage: FootageSettings = field(default_factory=FootageSettings)
    bodies: BodiesSettings = field(default_factory=BodiesSettings)
    positions: PositionsSettings = field(default_factory=PositionsSettings)
    review: ReviewSettings = field(default_factory=ReviewSettings)
    athletes: AthletesSettings = field(default_factory=AthletesSettings)
    geometry: GeometrySettings = field(default_factory=GeometrySettings)
    study: StudySettings = field(default_factory=StudySettings)
    clips: ClipsSettings = field(default_factory=ClipsSettings)
    learning: LearningSettings = field(default_factory=LearningSettings)
    overnight: OvernightSettings = field(default_factory=OvernightSettings)
    moments: MomentsSettings = field(default_factory=MomentsSettings)
