"""Write fixtures/agreement/computed.json: values that other libraries give for the same data.

Needs numpy, scipy, pandas, statsmodels, pingouin. Run from the repository's top folder:
    python tests/tools/agreement_expected.py
The tests read the stored file only; nothing here runs with them.
"""
import json
import pathlib

import numpy as np
import pandas as pd
import pingouin as pg
import scipy
import statsmodels
import statsmodels.formula.api as smf
from scipy import stats
from statsmodels.formula.api import ols
from statsmodels.stats.anova import anova_lm
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.weightstats import DescrStatsW

FOLDER = pathlib.Path(__file__).resolve().parents[2] / "fixtures" / "agreement"
OUT = {
    "made_by": "tests/tools/agreement_expected.py",
    "versions": {m.__name__: m.__version__ for m in (np, pd, scipy, statsmodels, pg)},
}


def floats(values):
    return [float(v) for v in values]


# Quantiles and tails (scipy)
OUT["quantiles"] = {
    "normal": [[p, stats.norm.ppf(p)] for p in (0.005, 0.025, 0.6, 0.975, 0.9995)],
    "t": [[p, df, stats.t.ppf(p, df)] for p in (0.05, 0.975, 0.995) for df in (1, 2, 2.5, 16, 100, 5000, 1e6)],
    "chi_square": [[p, df, stats.chi2.ppf(p, df)] for p in (0.025, 0.975) for df in (1, 2, 11, 48, 5000)],
    "f": [[p, a, b, stats.f.ppf(p, a, b)] for p in (0.95, 0.99) for a, b in ((1, 1), (2, 10), (18, 60), (5, 5000))],
    "f_tail": [[f, a, b, stats.f.sf(f, a, b)] for f, a, b in ((0.434, 18, 60), (79.4, 2, 78), (1.18, 4, 20), (15.95, 1, 46))],
    "t_tails": [[t, df, 2 * stats.t.sf(t, df)] for t, df in ((0.1, 3), (2.12, 16), (9.0, 5))],
}

# Simple agreement: interval of the bias by statsmodels, of the limits by the formula of 1999
pefr = pd.read_csv(FOLDER / "bland_altman_1986_pefr.csv")
d = (pefr.wright_1 - pefr.mini_1).to_numpy(float)
n, m, s = len(d), d.mean(), d.std(ddof=1)
half = stats.t.ppf(0.975, n - 1) * s * np.sqrt(1 / n + 1.96**2 / (2 * (n - 1)))
OUT["agreement_simple"] = {
    "bias_interval": floats(DescrStatsW(d).tconfint_mean()),
    "limits": floats([m - 1.96 * s, m + 1.96 * s]),
    "lower_interval": floats([m - 1.96 * s - half, m - 1.96 * s + half]),
}


# Repeated measures: ANOVA by statsmodels, intervals of the limits by recovery of variance estimates
def recovered(bias, mean_variance, parts, lenses, z=1.96, alpha=0.05):
    v = sum(c * ms for c, ms, _ in parts)
    low = v - np.sqrt(sum((c * ms * (1 - df / stats.chi2.ppf(1 - alpha / 2, df))) ** 2 for c, ms, df in parts))
    high = v + np.sqrt(sum((c * ms * (df / stats.chi2.ppf(alpha / 2, df) - 1)) ** 2 for c, ms, df in parts))
    t = stats.t.ppf(1 - alpha / 2, lenses - 1)
    out = np.sqrt(t**2 * mean_variance + z**2 * (np.sqrt(high) - np.sqrt(v)) ** 2)
    into = np.sqrt(t**2 * mean_variance + z**2 * (np.sqrt(v) - np.sqrt(max(low, 0))) ** 2)
    lower, upper = bias - z * np.sqrt(v), bias + z * np.sqrt(v)
    return {
        "bias": float(bias), "sd": float(np.sqrt(v)), "limits": floats([lower, upper]),
        "bias_interval": floats([bias - t * np.sqrt(mean_variance), bias + t * np.sqrt(mean_variance)]),
        "lower_interval": floats([lower - out, lower + into]), "upper_interval": floats([upper - into, upper + out]),
    }


def paired(frame):
    a = anova_lm(ols("d ~ C(subject)", data=frame).fit())
    msb, msw = a["mean_sq"]
    dfb, dfw = a["df"]
    counts = frame.groupby("subject").size().to_numpy(float)
    size = (counts.sum() - (counts**2).sum() / counts.sum()) / (len(counts) - 1)
    answer = recovered(frame.d.mean(), max(0.0, (msb - msw) / size) * (counts**2).sum() / len(frame) ** 2 + msw / len(frame), [(1 / size, msb, dfb), (1 - 1 / size, msw, dfw)], len(counts))
    return answer | {"between": float((msb - msw) / size), "within": float(msw), "size": float(size)}


cardiac = pd.read_csv(FOLDER / "bland_altman_2007_cardiac.csv")
cardiac["d"] = cardiac.rv - cardiac.ic
OUT["agreement_paired"] = paired(cardiac)
balanced = cardiac.groupby("subject").head(3).copy()
fit = smf.mixedlm("d ~ 1", balanced, groups=balanced.subject).fit(reml=True)
OUT["agreement_paired_balanced"] = paired(balanced) | {
    "first_rows_of_each_subject": 3,
    "mixed_model": {"between": float(fit.cov_re.iloc[0, 0]), "within": float(fit.scale), "bias": float(fit.params["Intercept"])},
}


def unpaired(first, second):
    def within(frame):
        groups = [g.v.to_numpy(float) for _, g in frame.groupby("subject")]
        df = sum(len(g) - 1 for g in groups)
        return 1 - np.mean([1 / len(g) for g in groups]), sum(((g - g.mean()) ** 2).sum() for g in groups) / df, df
    diff = (first.groupby("subject").v.mean() - second.groupby("subject").v.mean()).to_numpy()
    parts = [(1.0, diff.var(ddof=1), len(diff) - 1), within(first), within(second)]
    return recovered(diff.mean(), diff.var(ddof=1) / len(diff), parts, len(diff))


rv, ic = (cardiac[["subject", c]].rename(columns={c: "v"}) for c in ("rv", "ic"))
OUT["agreement_unpaired"] = unpaired(rv, ic)
OUT["agreement_unpaired_unequal"] = unpaired(rv, ic.groupby("subject").head(2)) | {"second_reads_each_subject": 2}

# Gauge R&R, interaction kept: statsmodels' table, and an independent table from pingouin
g = pd.read_csv(FOLDER / "aiag_gauge_rr.csv")
a = anova_lm(ols("y ~ C(part) * C(appraiser)", data=g).fit())
ms = {k: float(a.loc[k, "mean_sq"]) for k in ("C(part)", "C(appraiser)", "C(part):C(appraiser)", "Residual")}
f_part, f_person = ms["C(part)"] / ms["C(part):C(appraiser)"], ms["C(appraiser)"] / ms["C(part):C(appraiser)"]
OUT["gauge"] = {
    "ss": floats(pg.anova(data=g, dv="y", between=["part", "appraiser"], ss_type=2)["SS"]),
    "interaction_p": float(a.loc["C(part):C(appraiser)", "PR(>F)"]),
    "kept": {"f_part": f_part, "p_part": float(stats.f.sf(f_part, 9, 18)), "f_person": f_person, "p_person": float(stats.f.sf(f_person, 2, 18))},
}

# ICC
sf = pd.read_csv(FOLDER / "shrout_fleiss_1979.csv")
OUT["icc"] = floats(pg.intraclass_corr(data=sf, targets="subject", raters="judge", ratings="rating")["ICC"])

# Precision: ISO 5725-2 on the silicon data, whole and with unequal numbers
si = pd.read_csv(FOLDER / "nist_strd_sirstv.csv")


def reproducibility(frame):
    groups = [x.value.to_numpy(float) for _, x in frame.groupby("instrument")]
    n = np.array([len(x) for x in groups], float)
    fit = anova_lm(ols("v ~ C(instrument)", data=frame.assign(v=frame.value - 196.0)).fit())
    msb, msw = fit["mean_sq"]
    size = (n.sum() - (n**2).sum() / n.sum()) / (len(n) - 1)
    means, grand = np.array([x.mean() for x in groups]), frame.value.mean()
    sds = np.array([x.std(ddof=1) for x in groups])
    h = (means - grand) / np.sqrt(((means - grand) ** 2).sum() / (len(n) - 1))
    s_l2 = max(0.0, (msb - msw) / size)
    return {"s_r": float(np.sqrt(msw)), "s_l": float(np.sqrt(s_l2)), "s_big_r": float(np.sqrt(msw + s_l2)),
            "h": floats(h), "k": floats(sds / np.sqrt((sds**2).mean())), "mean": float(grand)}


OUT["reproducibility"] = reproducibility(si)
uneven = si.drop(index=[0, 1, 7, 24])
OUT["reproducibility_uneven"] = reproducibility(uneven) | {"dropped_rows": [0, 1, 7, 24]}
within = [x.value.to_numpy(float) for _, x in si.groupby("instrument")]
ss, df = sum(((x - x.mean()) ** 2).sum() for x in within), sum(len(x) - 1 for x in within)
OUT["repeatability"] = {"s_r": float(np.sqrt(ss / df)), "df": df, "interval": floats(np.sqrt(ss / stats.chi2.ppf([0.975, 0.025], df)))}
means = si.assign(e=si.value - 196.2).groupby("instrument").e.mean().to_numpy()
OUT["bias"] = {
    "reference": 196.2, "mean": float(means.mean()),
    "interval": floats(stats.ttest_1samp(means, 0).confidence_interval(0.95)),
    "one_group_interval": floats(stats.ttest_1samp(si.value[:5] - 196.2, 0).confidence_interval(0.95)),
}
y = pd.read_csv(FOLDER / "nist_individuals.csv").flowrate.to_numpy(float)
x = np.arange(1, len(y) + 1, dtype=float)
line = stats.linregress(x, y)
half = stats.t.ppf(0.975, len(x) - 2) * line.stderr
OUT["trend"] = {"slope": float(line.slope), "intercept": float(line.intercept), "p": float(line.pvalue),
                "interval": floats([line.slope - half, line.slope + half]),
                "residual_sd": float(np.sqrt(((y - line.intercept - line.slope * x) ** 2).sum() / (len(x) - 2)))}

# Shares (statsmodels), capability, axes (scipy), the double-angle plane (pingouin, numpy)
OUT["shares"] = [[k, n, *floats(proportion_confint(k, n, 0.05, method="wilson"))] for k, n in ((0, 20), (1, 29), (15, 148), (81, 263), (500, 500))]
sigma = np.abs(np.diff(y)).mean() / 1.128
OUT["capability"] = {"limits": [44.0, 56.0], "cp": float(12 / (6 * sigma)), "cpk": float(min(56 - y.mean(), y.mean() - 44) / (3 * sigma)),
                     "pp": float(12 / (6 * y.std(ddof=1))), "ppk": float(min(56 - y.mean(), y.mean() - 44) / (3 * y.std(ddof=1)))}
axes = [178.0, 2.0, 5.0, 175.0, 1.0, 3.5, 179.0]
OUT["axis"] = {"errors": axes, "mean": float(stats.circmean(axes, high=90, low=-90)), "sd": float(stats.circstd(axes, high=90, low=-90))}
rng = np.random.default_rng(7)
cloud = np.round(rng.multivariate_normal([0.06, -0.03], [[0.010, 0.004], [0.004, 0.006]], 25), 3)
test = pg.multivariate_ttest(cloud, np.zeros(2)).iloc[0]
values, vectors = np.linalg.eigh(np.cov(cloud.T))
critical = 2 * 24 / 23 * stats.f.ppf(0.95, 2, 23)
OUT["cloud"] = {
    "points": cloud.tolist(), "centroid": floats(cloud.mean(axis=0)), "t2": float(test["T2"]), "p": float(test["pval"]),
    "centroid_axes": floats(np.sqrt(critical / 25 * values[::-1])),
    "spread_axes": floats(np.sqrt(stats.chi2.ppf(0.95, 2) * values[::-1])),
    "turn": float(np.degrees(np.arctan(vectors[1, 1] / vectors[0, 1]))),
}

# Run rules: each rule written out again by brute force, over a series with shifts and drifts
rng = np.random.default_rng(11)
z = rng.normal(0, 1, 400)
z[60:80] += 1.5
z[120:128] = np.linspace(-1, 2, 8)
z[140:147] = np.linspace(1, -1, 7)
z[200:216] = np.where(np.arange(16) % 2, 0.7, -0.7) + rng.normal(0, 0.1, 16)
z[260:280] *= 0.2
z[320:332] = np.where(rng.random(12) < 0.5, 1.6, -1.6) + rng.normal(0, 0.2, 12)
z = np.round(z, 3)


def fires(i, rule):
    def w(k):
        return z[i - k + 1 : i + 1] if i + 1 >= k else None

    def k_of_n(k, n, s):
        part = z[max(0, i - n + 1) : i + 1]
        return any(z[i] * side > s and (part * side > s).sum() >= k for side in (1, -1))
    if rule == 0:
        return abs(z[i]) > 3
    if rule == 1:
        return w(9) is not None and (all(w(9) > 0) or all(w(9) < 0))
    if rule == 2:
        return w(6) is not None and (all(np.diff(w(6)) > 0) or all(np.diff(w(6)) < 0))
    if rule == 3:
        if w(14) is None:
            return False
        steps = np.sign(np.diff(w(14)))
        return all(steps != 0) and all(steps[1:] == -steps[:-1])
    if rule == 4:
        return k_of_n(2, 3, 2)
    if rule == 5:
        return k_of_n(4, 5, 1)
    if rule == 6:
        return w(15) is not None and all(abs(w(15)) < 1)
    return w(8) is not None and all(abs(w(8)) > 1)


OUT["run_rules"] = {"points": z.tolist(), "nelson": [[i for i in range(len(z)) if fires(i, r)] for r in range(8)]}

# EWMA with limits that grow: averages by pandas
e = pd.read_csv(FOLDER / "nist_ewma.csv").x.to_numpy(float)
average = pd.Series([50.0, *e]).ewm(alpha=0.3, adjust=False).mean().to_numpy()[1:]
half = [3 * 2.0539 * np.sqrt(0.3 / 1.7 * (1 - 0.7 ** (2 * i))) for i in range(1, len(e) + 1)]
OUT["ewma"] = {"average": floats(average), "half_width": floats(half)}


def plain(o):
    if isinstance(o, dict):
        return {k: plain(v) for k, v in o.items()}
    if isinstance(o, (list, tuple)):
        return [plain(v) for v in o]
    return float(o) if isinstance(o, np.floating) else o


(FOLDER / "computed.json").write_text(json.dumps(plain(OUT), indent=1) + "\n")
