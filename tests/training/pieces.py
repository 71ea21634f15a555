"""Render pieces of film around contacts, cut as the product cuts them, with the exact truth beside: what the networks learn from.

    python pieces.py RENDERER FOLDER [--first 2000] [--films 300] [--workers 32] [--seconds 200]

RENDERER is the folder of the program that makes the films with exact truth; it needs a graphics card (or patience), numpy, scipy,
OpenCV, moderngl and PyAV. Every film has a seed of its own: bodies, motion, ways of landing and leaving, shoes, ground, light,
camera and coding are drawn from it, wider than people are. Some 15 in 100 seeds ask for the impossible and give nothing.
"""
# ruff: noqa - run by hand, outside the gate; the order of the imports below is that of the renderer's own switches

import argparse
import contextlib
import io
import json
import multiprocessing
import os
import shutil
import sys
import tempfile
import time
import traceback

os.environ.setdefault("OMP_NUM_THREADS", "1")
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
import av
import cv2
import numpy as np

HERE = os.path.abspath(sys.argv[1]) if len(sys.argv) > 1 else "."
sys.path.insert(0, HERE)
cv2.setNumThreads(1)
import motion as M
import render as RD
import cm as CMm
import seq as SQ
import film as F
import make as MK

FLATFS = RD.FS_BODY  # the shader that draws plain shoes
import feet as FT
import make_feet  # changes that shader to one with patterned shoes

FEETFS = RD.FS_BODY
RD.FS_BODY = FLATFS
import film2 as F2

R1, R2C = F.render_clip, F2.render_clip
F2.LOAD = lambda f, h: MK._load(os.path.join(HERE, f), h)
F.check = F2.F.check = lambda mo, body: {}
F.contact_truth = F2.F.contact_truth = lambda mo: []
F.summary_truth = F2.F.summary_truth = lambda mo, con: {}
PX, X0, X1, Y0, Y1 = 0.006, -0.48, 0.22, -0.075, 0.195  # stored grid about the true toe and surface
NX, NY = round((X1 - X0) / PX), round((Y1 - Y0) / PX)
LAST = {}


class Strip(F.Camera):
    """the same camera, of whose picture only the strip about the ground is kept"""

    def __init__(self, c, side, seed, ax):
        super().__init__(c, side, seed, ax)
        p = self.pose(None)
        q = np.array([[x, y, z] for x in (c["x"] - 4.2, c["x"] + 4.2) for y, z in ((0, 0.62), (0, -0.22))])
        v = self.project(q, p)[:, 1]
        a, b = int(max(v.min(), 0)), int(min(v.max(), c["height_px"]))
        a -= a % 2
        h = -(-(b - a) // 32) * 32
        h = min(h, (c["height_px"] - a) // 16 * 16)
        self.K = self.K.copy()
        self.K[1, 2] -= a
        self.size = (c["width"], h)
        LAST["cam"] = self


F.Camera = Strip


class Linger:
    """after toe-off the toe stays near the ground for a while: the knee bends later"""

    def _lift_foot(self, d, t0, T, phi, kap, fb, fa, fm, a, b):
        super()._lift_foot(d, t0, T, phi, kap, fb, fa, fm, a, b)
        amt = (self.s.get("feet") or {}).get("linger", 0.0)
        if not amt or a is None or T < 0.15:
            return
        xs = np.linspace(0.001, 0.10, 60)
        H = np.array([self.hip(d, t0 + x) for x in xs])
        l1, l2 = self.l1[d], self.l2[d]
        ph, be, al, mu, ro, ya = (np.array([float(g(x)) for x in xs]) for g in (phi, fb, fa, fm, fm.roll, fm.yaw))
        need = np.minimum(0.006, FT.BEAR + 0.12 * xs)
        r = np.random.default_rng([int(a.k) + 100, 7])
        w = float(r.uniform(0.035, 0.07))
        c = w
        lo, hi = 0.0, 40 * M.D2R * amt

        def low(amp):
            kap.b.append((c, w, -amp))
            ka = np.array([float(kap(x)) for x in xs])
            kap.b.pop()
            ed = np.stack([0 * be, np.sin(be), -np.cos(be)], 1)
            ex = np.array([1.0, 0, 0])
            ank = (
                H
                + l1 * (np.sin(ph)[:, None] * ex + np.cos(ph)[:, None] * ed)
                + l2 * (np.sin(ph - ka)[:, None] * ex + np.cos(ph - ka)[:, None] * ed)
            )
            rho = -(ph - ka) - al
            P = self._verts(d, self._rot(ya, ro, rho), self._rot(ya, ro, rho - mu)) + ank[:, None]
            return float(np.minimum(P[:, :, 2].min(1) - a.gz - need, (ka - 4 * M.D2R) * 0.25).min())

        if low(0.0) < 0:
            return
        for _ in range(9):
            m = 0.5 * (lo + hi)
            if low(m) >= 0:
                lo = m
            else:
                hi = m
        if lo > 0.5 * M.D2R:
            kap.b.append((c, w, -lo))


class LMotion(Linger, FT.FeetMotion):
    pass


class LSeq(Linger, FT.FeetSeq):
    pass


def truth_mo(spec, body):
    """the motion of the film in hand, built once"""
    k = LAST["kind"]
    if "mo" in LAST:
        return LAST["mo"]
    cls = {"feet": LMotion, "seq": LSeq, "flat": CMm.CMMotion, "flatseq": SQ.SeqMotion}[k]
    LAST["mo"] = cls(spec, body)
    return LAST["mo"]


M.Motion = truth_mo
SHOES = [
    (0.93, 0.93, 0.92),
    (0.9, 0.9, 0.88),
    (0.95, 0.55, 0.1),
    (0.08, 0.12, 0.35),
    (0.86, 0.9, 0.3),
    (0.2, 0.75, 0.85),
    (0.25, 0.45, 0.8),
    (0.9, 0.3, 0.16),
    (0.3, 0.85, 0.55),
    (0.16, 0.16, 0.18),
    (0.06, 0.06, 0.07),
    (0.85, 0.85, 0.86),
    (0.9, 0.2, 0.5),
    (0.45, 0.45, 0.47),
]
GROUND = [
    (0.64, 0.27, 0.21),
    (0.20, 0.38, 0.58),
    (0.13, 0.20, 0.34),
    (0.42, 0.42, 0.43),
    (0.17, 0.17, 0.18),
    (0.55, 0.22, 0.18),
    (0.93, 0.93, 0.91),
]


MORE = 5000
"""Seeds from here on show more: drills, flat landings, heels, shoes of the ground's colour, shutters open nearly all the time."""


def drill(r, U, pick):
    """skips, bounds, hops, small take-offs and a hop-step-jump, of people who do them slowly or well"""
    what = str(r.choice(["skips", "bounds", "hops", "takeoffs", "triple"], p=[0.46, 0.2, 0.14, 0.1, 0.1]))
    k, foot, flip = U(0.85, 1.12), pick("L", "R"), {"L": "R", "R": "L"}
    kinds = {
        "skips": ["skiphop", "skipstep"] * 5,
        "bounds": ["bound"] * 6,
        "hops": ["hop"] * 6,
        "takeoffs": ["takeoff", "run", "run"] * 3,
        "triple": ["run", "run", "run", "run", "hop", "step", "jump"],
    }[what]
    slow = U(0.95, 1.25)
    usual = {  # speed, contact time, distance
        "skiphop": (3.95, 0.195, 2.25),
        "skipstep": (3.9, 0.17, 1.07),
        "bound": (6.6, 0.16, 3.0),
        "hop": (7.9, 0.128, 4.6) if what == "triple" else (5.75, 0.172, 2.75),
        "takeoff": (6.8, 0.15, 2.8),
        "run": (8.4, 0.107, 2.12) if what == "triple" else (7.0, 0.125, 1.95),
        "step": (7.3, 0.142, 3.9),
        "jump": (6.45, 0.15, 3.0),
    }
    contacts = []
    for kind in kinds:
        v, tc, dist = usual[kind]
        one = {"foot": foot, "kind": kind, "v": v * k, "tc": tc * (slow if what != "triple" else 1.0), "dist": dist * k}
        if kind == "jump":
            one["vz"] = 2.3
        if kind == "hop":
            one["arms"] = "alt"
        contacts.append(one)
        foot = foot if kind in ("skiphop", "hop") else flip[foot]
    zero = {"triple": 4, "hops": 1}.get(what, 2)
    return {
        "contacts": contacts,
        "zero": zero,
        "toe_to_line": U(-0.7, -0.2) - (3.0 if what == "triple" else 0.0),
        "vary": {"amount": U(0.3, 1.1), "seed": int(r.integers(1000))},
    }


def spec(seed):
    """what one film shows, drawn from its seed"""
    r = np.random.default_rng([seed, 5])

    def U(a, b):
        return float(r.uniform(a, b))

    def pick(*v):
        return v[int(r.integers(len(v)))]

    more = seed >= MORE
    kind = (
        r.choice(
            ["feet", "seq", "jog", "flat", "flatseq", "drill", "flatdrill"],
            p=[0.22, 0.12, 0.26, 0.20, 0.08, 0.07, 0.05],
        )
        if more
        else r.choice(["feet", "seq", "jog", "flat", "flatseq"], p=[0.36, 0.24, 0.24, 0.11, 0.05])
    )
    g2 = r.random() < (0.5 if more else 0.4)
    jog = kind == "jog"

    def pair(lo, hi, width):
        m = U(lo, hi)
        w = U(0, width) / 2
        return [m - w, m + w]

    f = {"seed": int(r.integers(1 << 20))}
    strike = (
        str(r.choice(["none", "heel", "edge", "forefoot"], p=[0.25, 0.35, 0.25, 0.15]))
        if jog
        else str(
            r.choice(["none", "heel", "edge", "forefoot"], p=[0.4, 0.3, 0.15, 0.15] if more else [0.6, 0.1, 0.1, 0.2])
        )
    )
    if strike != "none":
        f["strike"] = strike
    if r.random() < 0.8:
        f.update(
            roll=pair(8, 33, 8),
            roll_ms=pair(16, 55, 14),
            toe_up=pair(2, 27, 8),
            toe_up_ms=pair(8, 40, 10),
            toe_out=pair(0, 24, 12),
            ball_roll_mm=pair(0, 18, 6),
        )
        if r.random() < 0.5:
            f.update(
                pitch=pair(1, 8, 3)
                if strike == "forefoot"
                else pair(-12, -2, 3)
                if strike == "heel"
                else pair(-3, 5, 4)
            )
        if strike == "heel":
            f["pitch_ms"] = U(18, 45)
    if r.random() < 0.8:
        f.update(
            bend=pair(18, 42, 8),
            tip=pair(16, 62, 12),
            roll_off=pair(-2, 14, 5),
            lift_v=pair(0.0, 3.4, 0.8),
            push_from=U(0.45, 0.68),
            pre=U(0, 1),
            impact_v=[U(-0.3, 0.8), U(-2.6, -0.3)],
        )
    if jog and r.random() < 0.6:
        f.update(lift_v=pair(0, 1.2, 0.5))
    if r.random() < (0.55 if jog else 0.4):
        f["linger"] = U(0.2, 1.0)
    f.update(place=U(-0.01, 0.045))
    sex = pick("male", "male", "female")
    body = pick("body.npz", "body_m2.npz", "body_j.npz") if sex == "male" else "body_f.npz"
    h = U(1.62, 1.95) if sex == "male" else U(1.55, 1.80)
    if body == "body_j.npz":
        h = U(1.45, 1.75)
    sc = h / 1.84
    m = {"height": h, "sex": sex}
    if kind in ("feet", "flat"):
        v = U(6.8, 10.2) * (0.9 + 0.1 * sc)
        k = (v / 9.0) ** 0.6 * sc
        tc = [U(0.092, 0.122) * (9.0 / v) ** 0.5 for _ in range(4)] + [U(0.105, 0.125), U(0.112, 0.13)]
        m.update(
            td_leg_angle=[U(14.5, 17.5) for _ in range(4)] + [U(18, 20), U(24.5, 27)],
            td_knee=[U(153, 157) for _ in range(4)] + [U(149, 152), U(166, 170)],
            to_knee=U(160, 163),
            contact_times=tc,
            approach_speed=v,
            takeoff_speed=v - U(0.2, 0.4),
            takeoff_angle=U(16, 21),
            takeoff_foot=pick("L", "R"),
            steps=[s * k * U(0.98, 1.02) for s in (2.1, 2.14, 2.16, 2.3, 2.1)],
            penultimate_drop=U(0.01, 0.04),
            speed_change=[0, 0, 0.02, 0, -0.04],
            takeoff=bool(r.random() < 0.75),
        )
        if r.random() < 0.35:
            m["penultimate_strike"] = pick("flat", "heel", "ball")
        if r.random() < 0.25:
            m["mats"] = {pick("-2", "-3"): U(0.02, 0.06), **({"-1": U(0.02, 0.06)} if r.random() < 0.4 else {})}
    elif kind in ("drill", "flatdrill"):
        m.update(drill(r, U, pick))
    else:
        if jog:
            v = U(2.9, 5.6)
            rate = U(2.5, 3.1) + 0.05 * (v - 3)
            tc = U(0.24, 0.27) - 0.022 * v
        else:
            v = U(6.0, 10.3)
            rate = (U(3.9, 4.6) if v > 7.5 else U(3.3, 4.1)) / sc**0.4
            tc = U(0.098, 0.122) * (9 / v) ** 0.7
        tc = max(tc, 0.088)
        one = {"kind": "run", "tc": tc, "dist": v / rate, "v": v, "lean": U(4, 9)}
        if jog:
            one.update(
                ang=U(10, 15),
                knee=U(158, 164),
                lean=U(3, 6),
                lean_to=6,
                fp=pick(-6, -5, 0, 4),
                rise=0.02,
                foot_to=58,
                a0=20.0,
            )
        d0 = pick("LR", "RL")
        m.update(
            toe_to_line=U(0.1, 0.3),
            contacts=[dict(one, foot=d0[i % 2]) for i in range(9)],
            zero=6,
            vary={"amount": U(0.3, 1.3), "seed": int(r.integers(1000))},
            poses={"run": {"knee_to": 161}},
        )
        if jog:
            m["poses"] = {
                "run": {
                    "yaw": [5, 6],
                    "arm": [26, -38],
                    "push_alt": [[0.35, U(-26, -14), U(38, 62)]],
                    "free_alt": [[0.2, U(30, 40), U(58, 76)], [0.55, None, U(28, 40)]],
                    "td_alt": [-8, 84],
                    "mid": [12, 96],
                    "to": [36, U(66, 80)],
                    "knee_to": 163,
                }
            }
    if kind not in ("flat", "flatseq", "flatdrill"):
        m["feet"] = f
    elif kind == "flatseq":
        m.pop("poses", None)
    base = {"jog": "seq", "drill": "seq", "flatdrill": "flatseq"}.get(kind, kind)
    dist = U(8.5, 16)
    vw = U(7.6, 13.5)
    W, Hh = pick((1920, 1080), (1920, 1080), (1920, 1080), (1280, 720))
    cx = U(-3.4, -1.8)
    if "drill" in kind:
        cx = U(2.6, 4.6)
    sh = float(np.exp(U(np.log(1 / 2500), np.log(1 / 300))))
    if more and r.random() < 0.45:
        sh = U(
            1 / 300, 1 / 245
        )  # open nearly all the time: two to four such pictures together are one of a longer exposure
    nsub = int(np.clip(np.ceil(sh * 900), 1, 2))
    cam = {
        "distance": dist,
        "height": U(0.75, 1.7),
        "x": cx,
        "view_width": vw,
        "width": W,
        "height_px": Hh,
        "yaw": U(-6, 6) if r.random() < 0.5 else 0.0,
        "pitch": 0.0,
        "roll": U(-0.8, 0.8),
        "fps": 240.0,
        "shutter": sh,
        "subframes": nsub,
        "noise": U(0.8, 3.6),
        "blur_px": U(0.4, 1.2),
        "exposure": U(0.55, 1.25),
        "k1": U(-0.06, 0.03) if r.random() < 0.3 else 0.0,
        "flicker": U(0.01, 0.05) if r.random() < 0.12 else 0.0,
        "rolling_ms": 0.0,
    }
    cam["pitch"] = -float(np.degrees(np.arctan2(cam["height"] - 0.9, dist)))
    s = {
        "direction": pick("LR", "RL"),
        "seed": seed % (1 << 30),
        "look": int(r.integers(5)),
        "motion": m,
        "camera": cam,
        "encode": {"crf": int(r.integers(15, 27)), "preset": "veryfast"},
        "calib": {"poles": [-7, 1.0], "heights": [0.0], "aruco": False},
        "scene": {
            "seed": int(r.integers(1 << 20)),
            "board": bool(r.random() < 0.8),
            "second_runner": False,
            "spectators": 0,
        },
    }
    x0 = max(-1.0 if "drill" in kind else -7.2, cx - vw / 2 + 0.4)
    s["window"] = {"x0": x0, "x1": min(9.0 if "drill" in kind else 1.2, cx + vw / 2 - 0.4)}
    if "drill" in kind:
        s["scene"].update(pit_start=16.0, board=False, cones=False)
        s["calib"]["poles"] = [0, 6]
    track = pick(*F2.TRACK)

    def col(c):
        return [float(np.clip(x * U(0.85, 1.15) + U(-0.03, 0.03), 0.02, 0.97)) for x in c]

    u = r.random()
    sh1 = (
        col(GROUND[list(F2.TRACK).index(track)] if g2 else pick(*GROUND))
        if u < (0.4 if more else 0.25)
        else col(SHOES[int(r.integers(len(SHOES)))])
        if u < 0.8
        else [U(0.03, 0.95) for _ in range(3)]
    )
    sh2 = sh1 if r.random() < 0.5 else col(SHOES[int(r.integers(len(SHOES)))])
    look = {
        "cshoe": sh1,
        "cshoe2": sh2,
        "csock": col(pick(*SHOES)),
        "cskin": col(
            pick((0.72, 0.53, 0.43), (0.52, 0.36, 0.28), (0.82, 0.64, 0.55), (0.36, 0.25, 0.20), (0.25, 0.18, 0.15))
        ),
    }
    if r.random() < 0.3:
        look["legl"] = 0.92
        look["cshort"] = col(pick((0.07, 0.07, 0.09), (0.1, 0.12, 0.18), (0.4, 0.1, 0.1), (0.6, 0.6, 0.62)))
    if g2:
        hall = r.random() < 0.3
        look["csole"] = col(pick((0.95, 0.95, 0.95), (0.9, 0.9, 0.85), sh1, sh2, (0.15, 0.15, 0.15), (0.7, 0.5, 0.2)))
        look.pop("cskin")
        look["skin"] = pick(*F2.SKIN)
        g = {
            "place": "hall" if hall else "outdoor",
            "track": track,
            "backdrop": pick("trees", "stand", "houses"),
            "wind": 0.0,
            "tape": bool(r.random() < 0.3),
            "flags": 0,
            "kit": {"top": "tight", "bottom": pick("tight", "tight", "loose"), "hair": "short", "bib": False},
            "look": look,
            "mbit": None,
            "phone": {
                "sharpen": U(0, 1.0),
                "tnr": U(0, 0.6),
                "smear": U(0, 0.4),
                "local": U(0, 0.4),
                "glare": U(0, 0.5) if r.random() < 0.2 else 0.0,
                "contrast": U(0, 0.25),
                "wobble_px": 0.0,
                "saturation": U(0.8, 1.3),
            },
        }
        if r.random() < 0.3:
            g["mat"] = "black"
        if hall:
            g.update(
                sun=None,
                floods=[
                    {"x": U(-12, -2), "y": pick(-1, 1, 1) * U(5, 10), "z": U(5, 9), "strength": U(0.6, 1.1)},
                    {"x": U(-4, 8), "y": pick(-1, 1) * U(5, 10), "z": U(5, 9), "strength": U(0.5, 1)},
                ][: int(r.integers(1, 3))],
                ambient=U(0.3, 0.7),
                tape=False,
            )
        else:
            g["sun"] = {
                "azimuth": U(0, 360),
                "elevation": float(np.degrees(np.arcsin(U(0.15, 0.95)))),
                "strength": U(0.0, 1.2) if r.random() < 0.4 else 1.0,
            }
            g["cloud"] = U(0, 0.6) if r.random() < 0.2 else 0.0
        if r.random() < 0.6:
            g["mbit"] = U(0.8, 3.2) * (W / 1920) ** 1.5
        s["gen2"] = g
        s["camera"]["subframes"] = min(nsub, 2)
    return s, base, body, look, g2


def cut(frames, times, cam, at, z, side, jit, r):
    """as the product: its own grid about a rough place, then the grid of training about the true one (x along the run, y up)"""
    tx, gz = at
    pose = cam.pose(None)

    def P(x, h):
        return np.stack([x, np.full_like(x, z), h], -1)

    q = cam.project(np.array([[tx, z, 0], [tx + 0.01, z, 0]]), pose)
    native = max(0.004, 0.01 / float(np.hypot(*(q[1] - q[0]))))
    n = int(np.ceil((X1 - X0 + 0.03) / native))
    m = int(np.ceil((Y1 - Y0 + 0.03) / native))
    xs = tx + X0 - 0.015 + native * (np.arange(n) + r.random() - 0.5)
    ys = gz + jit + Y1 + 0.015 - native * (np.arange(m) + r.random() - 0.5)
    gx, gy = np.meshgrid(xs, ys)
    uv = cam.project(P(gx.ravel(), gy.ravel()), pose).reshape(m, n, 2).astype(np.float32)
    fx = tx + X0 + PX * (np.arange(NX) + 0.5)
    fy = gz + jit + Y1 - PX * (np.arange(NY) + 0.5)
    u2, v2 = np.meshgrid(((fx - xs[0]) / native).astype(np.float32), ((ys[0] - fy) / native).astype(np.float32))
    out = []
    for im in frames:
        out.append(
            cv2.remap(
                cv2.remap(im, uv[..., 0], uv[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE),
                u2,
                v2,
                cv2.INTER_LINEAR,
            )
        )
    inside = float(((uv[..., 0] > 0) & (uv[..., 0] < cam.size[0] - 1)).mean())
    e = 0.01
    b = cam.project(np.array([[tx, z, 0], [tx + e, z, 0], [tx, z, e], [tx, z - side * -e, 0]]), pose)
    A = np.column_stack([b[1] - b[0], b[2] - b[0]]) / e
    slope = np.linalg.solve(A, (cam.project(np.array([[tx, z - e, 0]]), pose)[0] - b[0]) / e)
    return np.stack(out), native, inside, slope


def piece(seed, tmp):
    """render one film and cut its contacts out"""
    LAST.clear()
    s, base, body, look, g2 = spec(seed)
    r = np.random.default_rng([seed, 9])
    MK.BODY["file"] = body
    LAST["kind"] = base
    out = os.path.join(tmp, f"f{seed}")
    t0 = time.time()
    bd = M.load_body("", s["motion"].get("height", 1.8))
    mo = M.Motion(json.loads(json.dumps(s["motion"])), bd)
    LAST["mo"] = mo
    t1 = time.time()
    if g2:
        RD.FS_BODY = FLATFS
        full = R2C(s, out)
    else:
        RD.FS_BODY = FEETFS
        RD.LOOKS.append(
            dict(RD.LOOKS[s["look"]], **{k: tuple(v) if isinstance(v, list) else v for k, v in look.items()})
        )
        s["look"] = len(RD.LOOKS) - 1
        full = R1(s, out)
    t2 = time.time()
    cam = LAST["cam"]
    side = 1 if s["direction"] == "LR" else -1
    c = av.open(os.path.join(out, "clip.mp4"))
    st = c.streams.video[0]
    st.thread_count = 1
    fr = [f.reformat(format="rgb24", src_colorspace="ITU709").to_ndarray() for f in c.decode(st)]
    c.close()
    times = np.array([f["t"] for f in full["frames"]]) if isinstance(full, dict) and "frames" in full else None
    recs = []
    for cc in mo.C:
        if getattr(cc, "pad", False):
            continue
        a, b = cc.t_td - 0.13, cc.t_to + 0.13
        k = np.nonzero((times >= a) & (times <= b))[0]
        if len(k) < 20 or times[0] > cc.t_td - 0.05 or times[-1] < cc.t_to + 0.05:
            continue
        x = cc.tx
        qx = cam.project(np.array([[x - 0.35, 0, 0], [x + 0.2, 0, 0]]), cam.pose(None))[:, 0]
        if qx.min() < 5 or qx.max() > cam.size[0] - 5:
            continue
        z = 0.055 * (1 if cc.side == "L" else -1) + float(r.normal(0, 0.015))  # the product takes a depth for each foot
        im, native, ins, slope = cut(
            [fr[i] for i in k], times[k], cam, (x, cc.gz), z, side, float(r.normal(0, 0.003)), r
        )
        A = mo.state(cc.t_td + 1e-7)["pts"]
        d = cc.side
        sole = A[f"toe.{d}"] - A[f"heel.{d}"]
        hx = [(mo.state(cc.t_td + q)["pts"][f"heel.{d}"]) for q in (0.01, 0.02, 0.03)]
        hx = min(hx, key=lambda p: p[2])[0]
        low = np.array([mo.height(d, t) if hasattr(mo, "height") else np.nan for t in times[k]])
        tk = times[k] - cc.t_td
        near_ = (tk > -0.06) & (tk < cc.tc + 0.06)
        if np.isfinite(low).all() and (low[near_].min() < -0.002 or low[np.argmin(abs(tk - cc.tc - 0.010))] > 0.075):
            continue  # a swing that the rig could not keep off the ground
        recs.append(
            {
                "im": im,
                "t": times[k] - cc.t_td,
                "tc": cc.tc,
                "angle": float(np.degrees(np.arctan2(sole[2], sole[0]))),
                "heel": float(hx - cc.tx),
                "gz": float(cc.gz),
                "near": int((d == "R") == (side > 0)),
                "native": native,
                "slope": slope,
                "low": low,
                "shutter": s["camera"]["shutter"],
                "base": ["feet", "seq", "flat", "flatseq"].index(base),
                "g2": int(g2),
                "seed": seed,
                "body": ["body.npz", "body_m2.npz", "body_j.npz", "body_f.npz"].index(body),
                "jog": int("contacts" in s["motion"] and s["motion"]["contacts"][0]["v"] < 5.7),
                "drill": int("contacts" in s["motion"] and any(c["kind"] != "run" for c in s["motion"]["contacts"])),
                "mbit": s["gen2"]["mbit"] or 0.0 if g2 else 0.0,
            }
        )
    shutil.rmtree(out, ignore_errors=True)
    return recs, (t1 - t0, t2 - t1, time.time() - t2, len(times))


def one_film(job):
    """write FOLDER/s<seed>.npz, or nothing where the film cannot be"""
    seed, folder, until = job
    if time.time() > until:
        return seed, 0, "no time left"
    with tempfile.TemporaryDirectory() as tmp:
        try:
            with contextlib.redirect_stdout(io.StringIO()):
                recs, took_s = piece(seed, tmp)
        except Exception:
            return seed, 0, traceback.format_exc().splitlines()[-1]
    if recs:
        flat = {f"{name}_{j}": np.asarray(value) for j, rec in enumerate(recs) for name, value in rec.items()}
        np.savez(os.path.join(folder, f"s{seed}.npz"), n=len(recs), **flat)
    return seed, len(recs), took_s


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("renderer")
    parser.add_argument("folder")
    parser.add_argument("--first", type=int, default=2000)
    parser.add_argument("--films", type=int, default=300)
    parser.add_argument("--workers", type=int, default=os.cpu_count())
    parser.add_argument("--seconds", type=float, default=1e9, help="begin no film later than this")
    said = parser.parse_args()
    os.makedirs(said.folder, exist_ok=True)
    jobs = [(said.first + i, said.folder, time.time() + said.seconds) for i in range(said.films)]
    with multiprocessing.get_context("spawn").Pool(said.workers, maxtasksperchild=4) as pool:
        for seed, contacts, said_of_it in pool.imap_unordered(one_film, jobs):
            print(seed, contacts, said_of_it, flush=True)


if __name__ == "__main__":
    main()
