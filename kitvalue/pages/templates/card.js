"use strict";
(() => {
  const by = (id) => document.getElementById(id);
  const data = JSON.parse(by("book").textContent);
  const CODES = (() => {
    let all = "";
    for (let c = 35; c < 127; c++) if (!"\\<&'`".includes(String.fromCharCode(c))) all += String.fromCharCode(c);
    return all;
  })();

  // ---- the fit, unpacked ------------------------------------------------------------------------------------------
  function doubles(text) {
    const bytes = Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
    const view = new DataView(bytes.buffer);
    return Float64Array.from({ length: bytes.length / 8 }, (_, i) => view.getFloat64(8 * i, true));
  }
  function column(packed) {
    if (packed.doubles !== undefined) return doubles(packed.doubles);
    return Float64Array.from(packed.codes, (c) => packed.values[CODES.indexOf(c)]);
  }
  function symmetric(text, k) {
    const lower = doubles(text), full = Array.from({ length: k }, () => new Float64Array(k));
    for (let i = 0, at = 0; i < k; i++) for (let j = 0; j <= i; j++, at++) full[i][j] = full[j][i] = lower[at];
    return full;
  }
  const coef = doubles(data.coef), k = coef.length, p = data.center.length;
  const inverse = symmetric(data.inverse, k), level = symmetric(data.level, k);
  const weights = column(data.weights), residuals = column(data.residuals), n = residuals.length;
  const raw = data.terms.map((t) => (t.rows === null ? null : column(t.rows)));

  const ratios = data.ratios, usual = residuals.map((r, i) => data.allowance * r / ratios[data.series[i]]);
  const lines = data.blocks.flatMap((b) => b.lines.map((l) => ({ ...b, ...l, rows: column(l.rows) })));

  // One row's numbers: the intercept and the terms standardised, the series' own column where series are pooled, then
  // those of the blocks: a column for each line, or for each line and series.
  function encoded(series, termValue, lineValue) {
    const x = new Float64Array(k);
    x[0] = (1 - data.center[0]) / data.scale[0];
    for (let j = 1; j < p; j++) x[j] = (termValue(j - 1) - data.center[j]) / data.scale[j];
    if (data.theta !== null) x[p + series] = data.theta;
    let at = data.theta === null ? p : p + ratios.length;
    for (const line of lines) {
      x[at + (line.by_series ? series : 0)] = line.theta * lineValue(line);
      at += line.by_series ? ratios.length : 1;
    }
    return x;
  }
  const seriesTerm = (j, series) => (series === data.terms[j].level ? 1 : 0);
  const rows = Array.from({ length: n }, (_, i) =>
    encoded(data.series[i], (j) => (raw[j] === null ? seriesTerm(j, data.series[i]) : raw[j][i]), (line) => line.rows[i]));

  const dot = (a, b) => { let sum = 0; for (let i = 0; i < a.length; i++) sum += a[i] * b[i]; return sum; };
  const times = (m, x) => m.map((row) => dot(row, x));

  // ---- the outlook of one kit, sold -------------------------------------------------------------------------------
  function kitValue(kit, dealer, j) {
    const t = data.terms[j];
    if (t.source === "pieces") return Math.log(kit.pieces);
    if (t.source === "condition") return kit.condition - 3;
    if (t.source === "sold") return 1;
    if (t.source === "dealer") return dealer ? 1 : 0;
    if (t.source === "series") return seriesTerm(j, kit.series);
    if (t.source !== "feature") return 0;
    const given = kit.features[t.feature];
    if (given === null) return t.blank;
    return t.level < 0 ? given : given === t.level ? 1 : 0;
  }
  const forMeans = (r) => (Math.abs(r) > data.gross ? 0 : Math.min(Math.max(r, -data.cut), data.cut));
  function outlook(kit, dealer) {
    const lineValue = (line) => line.at[line.at.length > 1 ? 2 * kit.condition - 2 : 0];
    const x = encoded(kit.series, (j) => kitValue(kit, dealer, j), lineValue);
    const u = times(inverse, x);
    const centre = dot(x, coef);
    if (data.exact) return { typical: Math.exp(centre + data.offset), mean: Math.exp(centre + data.offset) };
    const ratio = ratios[kit.series], g = dot(x, u) / (ratio * ratio);
    const stretch = ratio * Math.max(1, Math.sqrt((1 + g) / (1 + data.typical_g)));
    const low = new Float64Array(n), high = new Float64Array(n);
    let sum = 0;
    for (let i = 0; i < n; i++) {
      const predicted = centre - weights[i] * dot(rows[i], u) * residuals[i];
      const far = stretch * Math.abs(usual[i]);
      low[i] = predicted - far;
      high[i] = predicted + far;
      sum += Math.exp(predicted + stretch * forMeans(usual[i]) + data.offset);
    }
    low.sort();
    high.sort();
    const reach = data.reach * Math.sqrt(dot(x, times(level, x)));
    return {
      typical: Math.exp(centre + data.offset),
      mean: sum / n,
      low: Math.exp(low[data.low_at - 1] + data.offset),
      high: Math.exp(high[data.high_at - 1] + data.offset),
      level_low: Math.exp(centre + data.offset - reach),
      level_high: Math.exp(centre + data.offset + reach),
    };
  }

  // ---- what is asked ----------------------------------------------------------------------------------------------
  const chosen = (name) => document.querySelector(`input[name="${name}"]:checked`);
  function feature(f, i) {
    const id = `feature-${i}`;
    if (f.kind === "yes-no") {
      const picked = chosen(id);
      return picked === null || picked.value === "" ? null : Number(picked.value);
    }
    const text = by(id).value.trim().replace(",", ".");
    const known = text !== "" && Number.isFinite(Number(text));
    by(id).setAttribute("aria-invalid", String(text !== "" && !known));
    return known ? Number(text) : null;
  }
  function asked() {
    return {
      series: Number(by("series").value),
      pieces: Number(by("pieces").value),
      condition: Number(by("condition").value),
      finished: Number(by("finished").value || by("condition").value),
      features: data.features.map(feature),
    };
  }
  function cautions(kit) {
    const c = data.cautions, grade = (g) => c.grade[2 * g - 2];
    let said = [...c.series[kit.series], ...c.pieces[kit.pieces - 1], ...grade(kit.condition), ...grade(kit.finished),
                ...c.always];
    kit.features.forEach((value, i) => {
      if (value === null) return;
      const f = data.features[i], word = f.kind === "word" ? f.words[value] : "";
      for (const g of c.given) if (g.name === f.name && g.value === word) {
        said = [...said.filter((text) => !g.drop.includes(text)), ...g.add];
      }
    });
    return [...new Set(said)];
  }

  // ---- what is shown ----------------------------------------------------------------------------------------------
  function written(value) {
    const decimals = Math.abs(value) >= 100 || Number.isInteger(value) ? 0 : 2;
    const [whole, part] = value.toFixed(decimals).split(".");
    const grouped = whole.replace(/\B(?=(\d{3})+$)/g, ",");
    return part === undefined ? grouped : `${grouped}.${part}`;
  }
  function show(name, found) {
    for (const key of ["typical", "mean", "low", "high", "level_low", "level_high"]) {
      for (const place of document.querySelectorAll(`data[data-of="${name}-${key}"]`)) {
        const value = found[key];
        place.value = value === undefined ? "" : String(Number(value.toFixed(2)));
        place.textContent = value === undefined ? "none" : written(value);
      }
    }
  }
  function reckon() {
    const pieces = by("pieces"), wanted = Math.round(Number(pieces.value));
    const held = Math.min(Math.max(Number.isFinite(wanted) ? wanted : 1, 1), data.cautions.pieces.length);
    if (String(held) !== pieces.value) pieces.value = String(held);
    const kit = asked();
    show("buy_in", outlook(kit, false));
    show("resale", outlook({ ...kit, condition: kit.finished }, data.dealer));
    const unread = [...document.querySelectorAll('[aria-invalid="true"]')].map(
      (input) => `${input.labels[0].textContent}: "${input.value}" is no number, so it is not counted`);
    by("cautions").replaceChildren(...[...unread, ...cautions(kit)].map((text) => {
      const item = document.createElement("li");
      item.textContent = text.charAt(0).toUpperCase() + text.slice(1);
      item.dataset.text = text;
      return item;
    }));
  }
  function age() {
    const days = Math.floor((Date.now() - Date.parse(data.made)) / 86400000);
    by("age").textContent = days > data.stale
      ? `This card is ${days} days old. Prices have moved since: make a new one before you buy.` : "";
    by("age").hidden = days <= data.stale;
  }
  function step(by_how_much) {
    by("pieces").value = String(Number(by("pieces").value) + by_how_much);
    reckon();
  }
  by("less").addEventListener("click", () => step(-1));
  by("more").addEventListener("click", () => step(1));
  by("kit").addEventListener("change", reckon);
  by("kit").addEventListener("submit", (event) => { event.preventDefault(); reckon(); });
  by("card").hidden = false;
  age();
  reckon();
})();
