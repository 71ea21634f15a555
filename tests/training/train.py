"""Train one network that times touchdown and toe-off from the pictures of one shoe, and see how it does on held-out films.

    python train.py FOLDER OUT SEED [STEPS] [FROM] [SECONDS]

FROM is a folder with the net<SEED>.npz to begin with ('-' for none); with SECONDS the clock ends the training, not STEPS. FOLDER is
what `pieces.py` wrote, OUT gets net<SEED>.npz, val<SEED>.npz (errors and stated SD of every held-out contact) and, with seed 0, check.npz (inputs and outputs, to hold the arithmetic of the product against). Needs torch and a graphics card. One film in
ten, and half of those of one body, are held out.
"""
# ruff: noqa - run by hand, outside the gate

import glob
import math
import os
import sys
import time

import numpy as np
import torch
import torch.nn as nn
import torch.nn.functional as Fn

DATA, OUT, SEED = sys.argv[1], sys.argv[2], int(sys.argv[3])
STEPS = int(sys.argv[4]) if len(sys.argv) > 4 else 7500
FROM = sys.argv[5] if len(sys.argv) > 5 and sys.argv[5] != "-" else None
SECONDS = float(sys.argv[6]) if len(sys.argv) > 6 else None
T00 = time.time()
dev = torch.device("cuda:%d" % (SEED % torch.cuda.device_count()) if torch.cuda.is_available() else "cpu")
torch.manual_seed(SEED)
rng = np.random.default_rng(SEED)
torch.backends.cuda.matmul.allow_tf32 = True
torch.backends.cudnn.allow_tf32 = True
torch.backends.cudnn.benchmark = True
NX, NY, WX, WY, PX, X0, Y1 = 117, 45, 96, 40, 0.006, -0.48, 0.195
FR = 124
AWAY, AROUND = 0.05, 0.09
# ---------------------------------------------------------------- data


def load():
    ims, ts, meta = [], [], []
    for f in sorted(glob.glob(os.path.join(DATA, "s*.npz"))):
        try:
            z = np.load(f)
        except Exception:
            continue
        for j in range(int(z["n"])):

            def g(k):
                return z[f"{k}_{j}"]

            im, t = g("im"), g("t")
            low = g("low")
            if im.shape[1:3] != (NY, NX) or len(t) < 20:
                continue
            n = min(len(t), FR)
            pad = FR - n
            ims.append(np.concatenate([im[:n], np.repeat(im[n - 1 : n], pad, 0)]))
            ts.append(np.concatenate([t[:n], np.full(pad, 9.0)]))
            meta.append(
                [
                    float(g("tc")),
                    float(g("angle")),
                    float(g("heel")),
                    float(g("near")),
                    float(g("native")),
                    float(g("shutter")),
                    float(g("base")),
                    float(g("g2")),
                    float(g("seed")),
                    float(g("body")),
                    float(g("jog")),
                    float(g("mbit")),
                    float(g("gz")),
                    *np.asarray(g("slope")),
                    float(g("drill")) if f"drill_{j}" in z else 0.0,
                    *np.concatenate([low[:n], np.full(pad, np.nan)]),
                ]
            )
    return np.stack(ims), np.array(ts), np.array(meta, np.float64)


I, T, Mt = load()
N = len(I)
print(
    "contacts",
    N,
    "load s",
    time.time() - T00,
    "kinds",
    np.bincount(Mt[:, 6].astype(int)),
    "g2",
    Mt[:, 7].mean(),
    "jog",
    Mt[:, 10].mean(),
    flush=True,
)
I = torch.from_numpy(I).to(dev)
low = Mt[:, 16:]
tc = Mt[:, 0]
hold = (Mt[:, 8].astype(int) % 10 == 0) | (Mt[:, 9] == 2) & (Mt[:, 8].astype(int) % 2 == 0) & (Mt[:, 8] < 5000)
tr, va = np.flatnonzero(~hold), np.flatnonzero(hold)
print("train", len(tr), "held", len(va), flush=True)
# ---------------------------------------------------------------- variants: rate, phase, rough times; backgrounds as the product takes them
LEN = {1: 116, 2: 58, 4: 29, 8: 16, 10: 13}
OPEN_S = (
    1 / 330
)  # shutters open longer than this leave no gap: neighbouring pictures together are one of a longer exposure


def variant(i, r, stride=None):
    k = stride or int(r.choice([1, 2, 4, 8, 10], p=[0.26, 0.2, 0.22, 0.18, 0.14]))
    ph = int(r.integers(k))
    n = int((T[i] < 5).sum())
    wide = 2.0 if k > 4 else 1.0

    def err():
        return wide * (
            float(np.clip(r.normal(0, 0.009), -0.028, 0.028)) if r.random() < 0.8 else float(r.uniform(-0.035, 0.035))
        )

    m = int(r.integers(1, min(k, 4) + 1)) if Mt[i, 5] > OPEN_S and r.random() < 0.8 else 1
    s, e = err(), tc[i] + err()
    idx = np.arange(ph, n - m + 1, k)
    dt = float(np.median(np.diff(T[i][:n])))
    t = T[i][idx] + (m - 1) / 2 * dt
    here = (t >= s - AROUND) & (t <= e + AROUND)
    if stride is None and r.random() < 0.05:  # the film begins or ends here
        here &= (t > r.uniform(-0.05, 0.02)) if r.random() < 0.5 else (t < tc[i] + r.uniform(-0.02, 0.05))
    idx, t = idx[here][: LEN[k]], t[here][: LEN[k]]
    away = idx[(t < s - AWAY) | (t > e + AWAY)]
    last = e - s
    core = idx[(t >= s + 0.35 * last) & (t <= s + 0.70 * last)]
    if len(core) == 0 and len(idx):
        core = idx[[int(np.abs(t - (s + 0.52 * last)).argmin())]]
    if len(away) < 2 or len(idx) < 5:
        return None
    return k, idx, s, e, away, core, m, t


class Set:
    def __init__(self, ids, nv, r, stride=None):
        V = []
        for i in ids:
            for _ in range(nv):
                v = variant(i, r, stride)
                if v:
                    V.append((i, *v))
        self.n = len(V)
        self.i = np.array([v[0] for v in V])
        self.k = np.array([v[1] for v in V])
        self.m = np.array([v[7] for v in V])
        self.V = V
        self.bg = torch.empty((self.n, NY, NX, 3), dtype=torch.uint8, device=dev)
        self.su = torch.empty_like(self.bg)
        for q, v in enumerate(V):
            fr = I[v[0]]
            self.bg[q], self.su[q] = (
                sum(fr[torch.as_tensor(at + o, device=dev)].float() for o in range(v[7]))
                .div(v[7])
                .quantile(0.5, dim=0)
                .byte()
                for at in (v[5], v[6])
            )
        self.by = {k: np.flatnonzero(self.k == k) for k in LEN}

    def batch(self, q, r, aug=True):
        B = len(q)
        k = self.k[q[0]]
        L = LEN[k]
        idx = np.zeros((B, L), int)
        tt = np.zeros((B, L))
        mask = np.zeros((B, L), bool)
        st = np.zeros((B, 4))
        lo = np.full((B, L), np.nan)
        ids = self.i[q]
        for b, x in enumerate(q):
            v = self.V[x]
            n = len(v[2])
            idx[b, :n] = v[2]
            idx[b, n:] = v[2][-1]
            tt[b, :n] = v[8]
            tt[b, n:] = tt[b, n - 1] + 0.01
            mask[b, :n] = True
            st[b, :2] = v[3], v[4]
            lo[b, :n] = low[v[0]][v[2] + (v[7] - 1) // 2]
        dx = np.clip(r.normal(0, 0.022, B), -0.054, 0.054) if aug else np.clip(r.normal(0, 0.018, B), -0.05, 0.05)
        dxp = np.round(dx / PX).astype(int)
        dyp = np.clip(np.round(r.normal(0, 0.6, B)).astype(int), -2, 2)
        # window: columns toe - .42 .. + .156 about the rough toe, rows + .18 .. - .06
        c0 = 10 + dxp
        r0 = 2 + dyp
        ci = torch.as_tensor(c0[:, None] + np.arange(WX), device=dev)
        ri = torch.as_tensor(r0[:, None] + np.arange(WY), device=dev)
        fi = torch.as_tensor(idx, device=dev)
        ii = torch.as_tensor(ids, device=dev)
        qi = torch.as_tensor(q, device=dev)
        mm = torch.as_tensor(self.m[q], device=dev)
        x = 0.0
        for o in range(int(self.m[q].max())):
            part = I[ii[:, None, None, None], fi[:, :, None, None] + o, ri[:, None, :, None], ci[:, None, None, :]]
            x = x + part.float() * (o < mm).float().view(B, 1, 1, 1, 1)
        x = x / mm.float().view(B, 1, 1, 1, 1)
        bg = self.bg[qi[:, None, None], ri[:, :, None], ci[:, None, :]].float()
        su = self.su[qi[:, None, None], ri[:, :, None], ci[:, None, :]].float()
        if aug:
            perm = torch.as_tensor(
                np.array([r.permutation(3) if r.random() < 0.5 else np.arange(3) for _ in range(B)]), device=dev
            )
            gain = torch.as_tensor(
                np.exp(r.normal(0, 0.16, (B, 1, 1, 1, 3)) + r.normal(0, 0.18, (B, 1, 1, 1, 1))),
                device=dev,
                dtype=torch.float32,
            )
            off = torch.as_tensor(r.normal(0, 10, (B, 1, 1, 1, 3)), device=dev, dtype=torch.float32)
            gam = torch.as_tensor(np.exp(r.normal(0, 0.15, (B, 1, 1, 1, 1))), device=dev, dtype=torch.float32)

            def ph(a):
                p = perm.view(B, *([1] * (a.dim() - 2)), 3).expand(*a.shape)
                a = torch.gather(a, -1, p)
                g, o, m = (v if a.dim() == 5 else v[:, 0] for v in (gain, off, gam))
                return ((a / 255).clamp(0, 1).pow(m) * 255 * g + o).clamp(0, 255)

            x, bg, su = ph(x), ph(bg), ph(su)
            ns = torch.as_tensor(np.where(r.random(B) < 0.5, r.uniform(0, 3.0, B), 0), device=dev, dtype=torch.float32)
            x = (x + ns.view(B, 1, 1, 1, 1) * torch.randn_like(x)).clamp(0, 255)

        def f32(a):
            return torch.as_tensor(a, device=dev, dtype=torch.float32)

        np.gradient(tt, axis=1) if L > 1 else np.full_like(tt, 0.004)
        dtm = np.array([np.median(np.diff(tt[b, mask[b]])) for b in range(B)])
        sc = np.stack(
            [
                np.broadcast_to(np.log2(dtm * 240)[:, None], tt.shape),
                (tt - st[:, :1]) / 0.05,
                (tt - st[:, 1:2]) / 0.05,
                np.broadcast_to(Mt[ids, 3][:, None] - 0.5, tt.shape),
                np.broadcast_to((Mt[ids, 4][:, None] - 0.006) / 0.002, tt.shape),
            ],
            -1,
        )
        target = np.stack([0 * dx, tc[ids], -dxp * PX, Mt[ids, 2] - dxp * PX, Mt[ids, 1]], -1)
        return {
            "x": x,
            "bg": bg,
            "su": su,
            "t": f32(tt),
            "dt": f32(dtm),
            "mask": torch.as_tensor(mask, device=dev),
            "sc": f32(sc),
            "y": f32(target),
            "low": f32(lo),
        }


# ---------------------------------------------------------------- network
def planes(b):
    x, bg, su, _m = b["x"], b["bg"][:, None], b["su"][:, None], b["mask"]
    grey = x.mean(-1)
    prev = torch.cat([grey[:, :1], grey[:, :-1]], 1)
    nxt = torch.cat([grey[:, 1:], grey[:, -1:]], 1)
    B, L = grey.shape[:2]
    cx = torch.linspace(-1, 1, WX, device=dev).view(1, 1, 1, WX).expand(B, L, WY, WX)
    cy = torch.linspace(1, -1, WY, device=dev).view(1, 1, WY, 1).expand(B, L, WY, WX)
    c = [(x - bg) / 32, (x - su) / 32, (x - 110) / 64]
    c = torch.cat(c, -1).permute(0, 1, 4, 2, 3)
    return torch.cat([c, torch.stack([(grey - prev) / 24, (grey - nxt) / 24, cx, cy], 2)], 2)


C1, C2, C3, C4, D, H = 20, 32, 48, 64, 112, 96


class Net(nn.Module):
    def __init__(s):
        super().__init__()
        s.c1 = nn.Conv2d(13, C1, 5, 2, 2)
        s.c2 = nn.Conv2d(C1, C2, 3, 2, 1)
        s.c3 = nn.Conv2d(C2, C3, 3, 2, 1)
        s.c4 = nn.Conv2d(C3, C4, 3, 2, 1)
        s.fc = nn.Linear(C4 * 6 * 3, D)
        s.t0 = nn.Conv1d(D + 5, H, 1)
        s.tb = nn.ModuleList([nn.Conv1d(H, H, 3, padding=d, dilation=d) for d in (1, 2, 4, 8, 1)])
        s.tp = nn.ModuleList([nn.Conv1d(H, H, 1) for _ in range(5)])
        s.drop = nn.Dropout(0.1)
        s.head = nn.Conv1d(H, 10, 1)
        s.g1 = nn.Linear(2 * H, 64)
        s.g2 = nn.Linear(64, 9)

    def forward(s, b):
        p = planes(b)
        B, L = p.shape[:2]
        h = p.reshape(B * L, *p.shape[2:])
        for c in (s.c1, s.c2, s.c3, s.c4):
            h = Fn.relu(c(h))
        h = Fn.relu(s.fc(h.flatten(1))).view(B, L, D)
        h = torch.cat([s.drop(h), b["sc"]], -1).transpose(1, 2)
        m = b["mask"][:, None].float()
        h = Fn.relu(s.t0(h)) * m
        for c, p_ in zip(s.tb, s.tp, strict=False):
            h = (h + p_(s.drop(Fn.relu(c(h))))) * m
        o = s.head(h)
        a = o[:, 9:10].masked_fill(~b["mask"][:, None], -1e4).softmax(-1)
        g = s.g2(Fn.relu(s.g1(torch.cat([(h * a).sum(-1), (h * m).sum(-1) / m.sum(-1)], -1))))
        return o.float(), g.float()


def mix(o, b, which):
    """log weights, means (ms), sd (ms) of the instant"""
    q = o[:, 3 * which : 3 * which + 3]
    lw = q[:, 0].masked_fill(~b["mask"], -1e4).log_softmax(-1)
    dt = b["dt"][:, None] * 1e3
    mu = b["t"] * 1e3 + 2.0 * torch.tanh(q[:, 1] / 2) * dt
    sd = torch.exp(q[:, 2].clamp(-1.6, 3.4))
    return lw, mu, sd


def nll(lw, mu, sd, y):
    l = lw - sd.log() - 0.919 - 0.5 * ((y[:, None] - mu) / sd) ** 2
    l = torch.logsumexp(l, -1)
    return -torch.logaddexp(l + math.log(0.985), torch.full_like(l, math.log(0.015 / 120)))


def loss(o, g, b):
    y = b["y"]
    l1, l2 = (nll(*mix(o, b, w), y[:, w] * 1e3) for w in (0, 1))
    lo = b["low"]
    ok = b["mask"] & torch.isfinite(lo)
    z = torch.sqrt(lo.nan_to_num(0).clamp(0, 0.09) + 1e-6) / 0.1
    aux = (Fn.smooth_l1_loss(o[:, 6], z, reduction="none", beta=0.1) * ok).sum() / ok.sum().clamp(min=1)
    on = ((b["t"] >= y[:, :1]) & (b["t"] <= y[:, 1:2])).float()
    bear = (Fn.binary_cross_entropy_with_logits(o[:, 7], on, reduction="none") * b["mask"]).sum() / b["mask"].sum()
    gs = 0
    for j, (k, sc, lim) in enumerate(((2, 100.0, (-2.3, 2)), (3, 100.0, (-2, 3)), (4, 1.0, (-2, 3)))):
        mu, ls = g[:, 2 * j], lim[0] + (lim[1] - lim[0]) * torch.sigmoid(g[:, 2 * j + 1])
        e = (y[:, k] * sc - mu) / ls.exp()
        gs = gs + (ls + 1.5 * torch.log1p(e * e / 2.0)).mean()  # Student t, two degrees of freedom
    return l1.mean(), l2.mean(), aux, bear, gs


# ---------------------------------------------------------------- held-out
def told(of, label):
    """print how a network does on the held-out contacts, and return what it said"""
    of.eval()
    rv = np.random.default_rng(99)
    rows = []
    for k in LEN:
        SV = Set(va, 2, rv, k)
        for a in range(0, SV.n, 64):
            q = np.arange(a, min(a + 64, SV.n))
            b = SV.batch(q, rv, aug=False)
            with torch.no_grad():
                o, g = of(b)
            out = [np.full(len(q), k), SV.i[q], SV.m[q]]
            for w in (0, 1):
                lw, mu, sd = mix(o, b, w)
                p = lw.exp()
                m = (p * mu).sum(-1)
                v = (p * (sd**2 + (mu - m[:, None]) ** 2)).sum(-1)
                out += [
                    (m - b["y"][:, w] * 1e3).cpu().numpy(),
                    v.sqrt().cpu().numpy(),
                    nll(lw, mu, sd, b["y"][:, w] * 1e3).cpu().numpy(),
                ]
            gg = g.cpu().numpy()
            gg[:, 1] = -2.3 + 4.3 / (1 + np.exp(-gg[:, 1]))
            gg[:, 3] = -2 + 5 / (1 + np.exp(-gg[:, 3]))
            gg[:, 5] = -2 + 5 / (1 + np.exp(-gg[:, 5]))
            yy = b["y"].cpu().numpy()
            out += [
                gg[:, 0] - 100 * yy[:, 2],
                np.exp(gg[:, 1]),
                gg[:, 2] - 100 * yy[:, 3],
                np.exp(gg[:, 3]),
                gg[:, 4] - yy[:, 4],
                np.exp(gg[:, 5]),
            ]
            rows.append(np.stack(out, 1))
    R = np.concatenate(rows)
    meta = Mt[R[:, 1].astype(int), :16]
    base, jog, ran = meta[:, 6], meta[:, 10] == 1, meta[:, 15] == 0
    groups = {
        "all": base >= 0,
        "flat": (base >= 2) & ran,
        "feet": (base < 2) & ran & ~jog,
        "jog": jog & ran,
        "drill": ~ran,
        "g2": meta[:, 7] == 1,
        "long": R[:, 2] > 1,
    }
    for k in LEN:
        for name, of_group in groups.items():
            sel = of_group & (R[:, 0] == k)
            if sel.sum() < 3:
                continue

            def f(e, s):
                return "bias %.2f RMS %.2f med %.2f in2 %.3f out6 %.3f sd %.2f" % (
                    e.mean(),
                    (e**2).mean() ** 0.5,
                    np.median(abs(e)),
                    (abs(e) < 2 * s).mean(),
                    (abs(e) > 6 * s).mean(),
                    np.median(s),
                )

            parts = (("td", 3), ("to", 6), ("toe", 9), ("heel", 11), ("ang", 13))
            said = " | ".join(f"{part} {f(R[sel, c], R[sel, c + 1])}" for part, c in parts)
            print(
                label, k, name, sel.sum(), "nll %.2f %.2f" % (R[sel, 5].mean(), R[sel, 8].mean()), "|", said, flush=True
            )
    return R, meta


# ---------------------------------------------------------------- training
NV = 12  # rates, phases and rough times drawn for every contact
S = Set(tr, NV, rng)
print("variants", S.n, {k: len(v) for k, v in S.by.items()}, "s", time.time() - T00, flush=True)
net = Net().to(dev)
if FROM:
    net.load_state_dict({k: torch.from_numpy(v) for k, v in np.load(os.path.join(FROM, f"net{SEED}.npz")).items()})
ema = Net().to(dev)
ema.load_state_dict(net.state_dict())
if FROM and len(va):
    told(ema, "before")
PEAK = 1e-3 if FROM else 2e-3
opt = torch.optim.AdamW(net.parameters(), PEAK, weight_decay=1e-3)
step = 0
hist = []
BS = {1: 40, 2: 56, 4: 72, 8: 72, 10: 72}
OFTEN = {1: 0.17, 2: 0.17, 4: 0.24, 8: 0.24, 10: 0.18}
ks = [k for k in LEN if len(S.by[k])]
often = np.array([OFTEN[k] for k in ks]) / sum(OFTEN[k] for k in ks)
T0 = time.time()
while True:
    u = (time.time() - T0) / SECONDS if SECONDS else step / STEPS
    if u >= 1:
        break
    lr = PEAK * min(1, (step + 1) / 200) * 0.5 * (1 + math.cos(math.pi * min(u, 1))) + 2e-6
    for g_ in opt.param_groups:
        g_["lr"] = lr
    k = int(rng.choice(ks, p=often))
    q = rng.choice(S.by[k], min(BS[k], len(S.by[k])), replace=False)
    b = S.batch(q, rng)
    net.train()
    with torch.autocast(dev.type, dtype=torch.bfloat16):
        o, g = net(b)
    l1, l2, aux, bear, gs = loss(o, g, b)
    L = l1 + l2 + 2.0 * aux + 0.5 * bear + 0.5 * gs
    opt.zero_grad()
    L.backward()
    nn.utils.clip_grad_norm_(net.parameters(), 2.0)
    opt.step()
    step += 1
    dec = min(0.998, step / (step + 20))
    with torch.no_grad():
        for a, c in zip(ema.parameters(), net.parameters(), strict=False):
            a.lerp_(c, 1 - dec)
    hist.append(torch.stack([l1, l2, aux, bear, gs]).detach())
    if step in (20, 100) or step % 500 == 0:
        print(
            step,
            "%.0f s" % (time.time() - T00),
            np.round(torch.stack(hist[-500:]).mean(0).cpu().numpy(), 3),
            flush=True,
        )
np.savez(
    os.path.join(OUT, f"net{SEED}.npz"),
    **{k: v.detach().cpu().numpy().astype(np.float32) for k, v in ema.state_dict().items()},
)
if len(va):
    R, meta = told(ema, "after")
    np.savez_compressed(os.path.join(OUT, f"val{SEED}.npz"), R=R.astype(np.float32), meta=meta.astype(np.float32))
if SEED == 0 and len(va):  # a few inputs and outputs, to hold another implementation against
    SV = Set(va[:6], 1, np.random.default_rng(3), 2)
    b = SV.batch(np.arange(SV.n), np.random.default_rng(4), aug=False)
    with torch.no_grad():
        o, g = ema(b)
    np.savez_compressed(
        os.path.join(OUT, "check.npz"),
        o=o.cpu().numpy(),
        g=g.cpu().numpy(),
        **{k: v.cpu().numpy() for k, v in b.items()},
    )
print("steps", step, "total s", time.time() - T00, flush=True)
