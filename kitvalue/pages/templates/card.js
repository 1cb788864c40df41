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
  const mean = (values) => { let sum = 0; for (const value of values) sum += value; return sum / values.length; };
  const forMeans = (r) => (Math.abs(r) > data.gross ? 0 : Math.min(Math.max(r, -data.cut), data.cut));
  function scatter(kit, dealer) {
    const lineValue = (line) => line.at[line.at.length > 1 ? 2 * kit.condition - 2 : 0];
    const x = encoded(kit.series, (j) => kitValue(kit, dealer, j), lineValue);
    const u = times(inverse, x), centre = dot(x, coef), ratio = ratios[kit.series], g = dot(x, u) / (ratio * ratio);
    const stretch = ratio * Math.max(1, Math.sqrt((1 + g) / (1 + data.typical_g)));
    const predicted = rows.map((row, i) => centre - weights[i] * dot(row, u) * residuals[i] + data.offset);
    return {
      x, centre, stretch, predicted,
      sample: predicted.map((at, i) => Math.exp(at + stretch * usual[i])),
      clipped: predicted.map((at, i) => Math.exp(at + stretch * forMeans(usual[i]))),
    };
  }
  function outlook({ x, centre, stretch, predicted, clipped }) {
    const typical = Math.exp(centre + data.offset);
    if (data.exact) return { typical, mean: typical };
    const far = (way) => Float64Array.from(predicted, (at, i) => at + way * stretch * Math.abs(usual[i])).sort();
    const reach = data.reach * Math.sqrt(dot(x, times(level, x)));
    return {
      typical,
      mean: mean(clipped),
      low: Math.exp(far(-1)[data.low_at - 1]),
      high: Math.exp(far(1)[data.high_at - 1]),
      level_low: typical * Math.exp(-reach),
      level_high: typical * Math.exp(reach),
    };
  }

  // ---- up to what price a kit sold on pays -------------------------------------------------------------------------
  const terms = data.sold_on, NEAR = 1e-6;
  const downToCent = (price) => Math.floor(price * 100 + NEAR) / 100;
  const downToStep = (price) => Math.floor(price / terms.bid_step + NEAR) * terms.bid_step;
  function ceilings({ sample, clipped }, hours, parts, freight) {
    const each = 1 + terms.tied, k = terms.rate / (1 + terms.rate), out = terms.outward;
    const cost = hours * terms.hourly + parts + terms.kept + freight * each;
    const taxable = (sold, price) => sold + out - Math.max(0, price);
    const revenue = (sold, price) =>
      terms.on_margin ? sold - k * (Math.max(0, taxable(sold, price)) - out) : sold * (1 - k);
    const profit = (sold, price) =>
      revenue(sold, price) - (cost + price * each + terms.fee * (sold + out)) - terms.reserve * sold;
    const surplus = (price) =>
      mean(clipped.map((sold) => profit(sold, price) - terms.margin * revenue(sold, price)));
    let leaves = terms.on_margin ? 0 : surplus(0) / each;
    for (let steps = 0; terms.on_margin && steps < 100; steps++) {
      const over = surplus(leaves), due = mean(clipped.map((sold) => (taxable(sold, leaves) > 0 ? 1 : 0)));
      const step = over / (each - (leaves > 0 || over > 0 ? k * (1 - terms.margin) * due : 0));
      leaves += step;
      if (Math.abs(step) < 1e-9) break;
    }
    const evens = Float64Array.from(sample, (sold) => {
      const gift = profit(sold, 0);
      if (!terms.on_margin || gift < 0) return gift / each;
      const taxed = Math.min(gift / (each - k), Math.max(0, sold + out));
      return taxed + (gift - (each - k) * taxed) / each;
    }).sort();
    const top = downToCent(leaves), allowed = Math.min(Math.floor(terms.loss_chance * n + 1e-9), n - 1);
    const safe = Math.min(top, downToCent(evens[allowed]));
    return { top: top >= 0 ? top : null, stop: safe >= 0 ? safe : null };
  }
  // The kit as it is, and finished where hours are told; of these the way for which most may be paid.
  function best(kit, asIs, finished) {
    const better = kit.finished !== kit.condition, needed = kit.hours === null ? terms.hours : (terms.hours || 0) + kit.hours;
    const lacks = (hours) => (hours === null ? terms.lacks_hours : terms.lacks);
    const freight = (kit.freight === null ? terms.freight : kit.freight) || 0;
    const ways = better ? [{ hours: terms.hours, parts: 0, sold: asIs }] : [];
    if (!better || kit.hours !== null) ways.push({ hours: needed, parts: kit.parts || 0, sold: finished });
    const found = ways.map((way) => (lacks(way.hours) !== null ? { why: lacks(way.hours), stop: null }
      : ceilings(way.sold, way.hours, way.parts, freight)));
    return found.reduce((a, b) => ((b.stop === null ? -1 : b.stop) > (a.stop === null ? -1 : a.stop) ? b : a));
  }
  function whole(value) {
    const below = Math.floor(value), half = value - below === 0.5;
    return String(half ? below + (below % 2) : Math.round(value)).replace(/\B(?=(\d{3})+$)/g, ",");
  }
  function verdict(kit, found) {
    const none = (why) => ({ code: "unknown", sentence: `No verdict: ${why}.`, price: null });
    if (terms.reason) return none(terms.reason);
    if (found.why) return none(found.why);
    const { asked } = kit, seen = data.seen[kit.series], known = kit.freight !== null || terms.freight !== null;
    const thin = seen < data.few ? `, from ${seen} sighting${seen === 1 ? "" : "s"}` : "";
    const bid = found.stop === null ? 0 : downToStep(found.stop), less = known ? "" : ", less the freight";
    if (bid <= 0) {
      const often = found.top !== null && found.top >= terms.bid_step;
      const why = often ? "any price it loses money too often" : "no price does it leave your margin";
      return { code: "pass", sentence: `Pass${thin}: at ${why}.`, price: null };
    }
    if (asked !== null && bid * 100 < asked * terms.worth_a_call - NEAR) {
      const call = whole(downToStep(bid * 100 / terms.worth_a_call));
      const why = `it pays up to ${whole(bid)}, and ${whole(asked)} is asked`;
      return { code: "pass", sentence: `Pass${thin}: ${why}; a call is worth it from ${call} down${less}.`, price: bid };
    }
    const paid = asked === null ? null : asked * terms.step, likely = paid === null ? "" : `: it will probably cost ${whole(paid)}`;
    if (paid !== null && paid <= found.stop && known) {
      return { code: "buy", sentence: `Buy it, up to ${whole(bid)}${thin}${likely}.`, price: bid };
    }
    return { code: "buy_below", sentence: `Buy it only up to ${whole(bid)}${thin}${likely}${less}.`, price: bid };
  }
  function opening(asked, stop) {
    if (asked === null || stop === null) return null;
    const paid = asked * terms.step, first = 2 * paid - asked;
    return first <= stop ? first : stop * paid / asked;
  }

  // ---- what is asked ----------------------------------------------------------------------------------------------
  const chosen = (name) => document.querySelector(`input[name="${name}"]:checked`);
  function say(input, text, refused) {
    input.setAttribute("aria-invalid", String(refused));
    by(`${input.id}-note`).textContent = text;
  }
  // What a field says, null where nothing. A sign that may part thousands is told; what is no number is not counted.
  function numberIn(id, lowest) {
    const input = by(id), text = input.value.replace(/[\s\u00a0\u202f']/g, "");
    const parted = /^[1-9]\d{0,2}(?:(?:,\d{3})+(?:\.\d\d?)?|(?:\.\d{3})+(?:,\d\d?)?)$/.test(text);
    const grouped = parted && ["asked", "freight", "parts"].includes(id);
    const value = Number(grouped ? text.replace(/[.,](?=\d{3})/g, "").replace(",", ".") : text.replace(",", "."));
    if (text === "") return say(input, "", false), null;
    if (!Number.isFinite(value)) return say(input, `"${input.value}" is no number, so it is not counted`, true), null;
    if (value < lowest) return say(input, `"${input.value}" is under ${lowest}, so it is not counted`, true), null;
    return say(input, grouped ? `read as ${value}` : "", false), value;
  }
  function piecesIn() {
    const field = by("pieces"), most = data.cautions.pieces.length, wanted = Math.round(Number(field.value));
    const held = Math.min(Math.max(wanted || 1, 1), most);
    if (String(held) !== field.value) {
      const typed = field.value === "" ? "Nothing was" : `${field.value} was`;
      by("pieces-note").textContent = `${typed} written; it counts as ${held} (whole drums, 1 to ${most})`;
      field.value = String(held);
    } else by("pieces-note").textContent = "";
    return held;
  }
  function feature(f, i) {
    const id = `feature-${i}`;
    if (f.kind === "yes-no") {
      const picked = chosen(id);
      return picked === null || picked.value === "" ? null : Number(picked.value);
    }
    if (f.kind === "word") return by(id).value === "" ? null : Number(by(id).value);
    return numberIn(id, -Infinity);
  }
  function asked() {
    return {
      series: Number(by("series").value),
      pieces: piecesIn(),
      condition: Number(by("condition").value),
      finished: Number(by("finished").value || by("condition").value),
      features: data.features.map(feature),
      asked: numberIn("asked", 0.01),
      freight: numberIn("freight", 0),
      hours: numberIn("hours", 0),
      parts: numberIn("parts", 0),
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
  const bid = (price) => (downToStep(price) > 0 ? whole(downToStep(price)) : "none");
  function show(of, value, write = written) {
    for (const place of document.querySelectorAll(`data[data-of="${of}"]`)) {
      const none = value === undefined || value === null;
      place.value = none ? "" : String(Number(value.toFixed(2)));
      place.textContent = none ? "none" : write(value);
    }
  }
  const LOOK = ["typical", "mean", "low", "high", "level_low", "level_high"];
  function note(kit) {
    const now = new Date(), two = (part) => String(part).padStart(2, "0"), name = by("series").selectedOptions[0].textContent;
    const day = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
    const money = (word, value) => (value === null ? [] : [`${word} ${value} ${data.currency}`]);
    return [name, `${kit.pieces} drums`, `condition ${kit.condition}`, ...money("asked", kit.asked),
            ...money("freight", kit.freight), day].join(", ");
  }
  function reckon() {
    const kit = asked(), asIs = scatter(kit, false), byUs = scatter(kit, data.dealer);
    const finished = scatter({ ...kit, condition: kit.finished }, data.dealer);
    for (const [name, one] of [["buy_in", outlook(asIs)], ["resale", outlook(finished)]]) {
      for (const key of LOOK) show(`${name}-${key}`, one[key]);
    }
    const found = terms.reason ? { stop: null } : best(kit, byUs, finished), said = verdict(kit, found);
    show("stop_at", found.stop, bid);
    show("open_at", opening(kit.asked, found.stop), bid);
    const untold = kit.finished !== kit.condition && kit.hours === null;
    by("verdict").textContent = said.sentence + (untold ? " As it is: finishing it takes hours that you have not said." : "");
    Object.assign(by("verdict").dataset, { ...said, price: said.price === null ? "" : said.price });
    by("line").value = note(kit);
    by("copied").textContent = "";
    by("cautions").replaceChildren(...cautions(kit).map((text) => {
      const item = document.createElement("li");
      item.textContent = text.charAt(0).toUpperCase() + text.slice(1);
      item.dataset.text = text;
      return item;
    }));
  }
  function copy() {
    by("line").select();
    by("copied").textContent = document.execCommand("copy") ? "Copied." : "Not copied: the line is marked, copy it by hand.";
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
  by("copy").addEventListener("click", copy);
  by("kit").addEventListener("change", reckon);
  by("kit").addEventListener("submit", (event) => { event.preventDefault(); reckon(); });
  by("card").hidden = false;
  age();
  reckon();
})();
