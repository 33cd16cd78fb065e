// What the numbers amount to: limit by limit, then as a whole; and what would help.

const MET = "met", NOT_MET = "not_met", NEAR = "near", NOT_JUDGED = "not_judged", WAIVED = "waived";

// State of one limit at a reading of the train. A value too near to its limit to tell is not met.
function judged(limit, reading) {
  const value = reading.value(limit.value);
  const asked = reading.value(limit.limit);
  if (limit.waived) return { limit, state: WAIVED, value, asked, short: 0, margin: Infinity };
  if (!limit.judged || Number.isNaN(value) || Number.isNaN(asked)) {
    return { limit, state: NOT_JUDGED, value, asked, short: 0, margin: Infinity };
  }
  const upward = limit.relation === ">=";
  const room = upward ? value - asked : asked - value;
  const slack = ROUND_OFF * Math.abs(asked);
  const [own, against] = [reading.ends(limit.value), reading.ends(limit.limit)];
  let [least, most] = upward ? [own[0] - against[1], own[1] - against[0]]
    : [against[0] - own[1], against[1] - own[0]];
  if (most - least <= 4 * slack) [least, most] = [room, room]; // no more than round-off
  const state = least >= -slack ? MET : most >= -slack ? NEAR : NOT_MET;
  const scale = Math.abs(asked) || 1;
  return { limit, state, value, asked, least, most, short: state === MET ? 0 : -least / scale,
    margin: room / scale };
}

// All limits at a setting of the dials, and the worst of them.
function verdict(limits, train, settings, isInside) {
  if (!isInside(settings)) return { reading: null, rows: [], state: "outside", short: Infinity };
  const reading = train.read(settings);
  const rows = limits.map((limit) => judged(limit, reading));
  const has = (...states) => rows.some((row) => states.includes(row.state));
  const state = has(NOT_MET) ? NOT_MET : has(NEAR) ? NEAR
    : has(NOT_JUDGED) || !rows.length ? NOT_JUDGED : MET;
  return { reading, rows, state, short: rows.reduce((sum, row) => sum + row.short, 0) };
}

const isMissed = (row) => row.state === NOT_MET || row.state === NEAR;

// Three digits, away from where the dial stands, as the command line tells a setting.
function beyond(shown, upward) {
  if (shown === 0) return 0;
  const scale = 10 ** (Math.floor(Math.log10(Math.abs(shown))) - 2);
  const slack = upward ? 1e-9 : -1e-9;
  const away = upward ? Math.ceil : Math.floor;
  return Number((away(shown / scale - slack) * scale).toPrecision(4));
}

const GRID = 25, LEAST = 1e-6, TOLD = 3;

// The smallest turn of one dial that gains as much as any: [setting, verdict].
function bestTurn(page, turn, settings) {
  const dial = page.dials.find((one) => one.address === turn.address);
  const line = page.train.along(settings, [dial.address]);
  const look = (x) => verdict(page.limits, line, { ...settings, [dial.address]: x }, page.isInside);
  const best = (from, to) => {
    const xs = Array.from({ length: GRID }, (_, n) => from + ((to - from) * n) / (GRID - 1));
    const shorts = xs.map((x) => look(x).short);
    const least = Math.min(...shorts) + LEAST / 10;
    return [xs, shorts.findIndex((short) => short <= least)];
  };
  const start = settings[dial.address];
  let [xs, n] = best(start, turn.upward ? dial.high : dial.low);
  if (n > 0) [xs, n] = best(xs[n - 1], xs[n]);
  const shown = beyond(page.show(xs[n], dial.kind), turn.upward);
  const rounded = page.hide(shown, dial.kind);
  const x = Math.min(Math.max(rounded, dial.low), dial.high);
  return [x, look(x)];
}

// Single changes that help, the best first, in the words of the command line.
function helpful(page, settings, now) {
  if (!now.rows.some(isMissed)) return [];
  const found = [];
  for (const turn of page.turns) {
    const [x, then] = bestTurn(page, turn, settings);
    const dial = page.dials.find((one) => one.address === turn.address);
    const words = turn.words
      .replaceAll("{address}", turn.address)
      .replaceAll("{value}", page.text(x, dial.kind, 4))
      .replaceAll("{flow}", page.text(then.reading.value(page.train.flow), "flow", 3));
    found.push({ words, then });
  }
  for (const mend of page.mends) {
    const changed = { ...settings, ...mend.changes };
    found.push({ words: mend.words, then: verdict(page.limits, page.train, changed, page.isInside) });
  }
  const left = (one) => one.then.rows.filter(isMissed).length;
  return found
    .filter((one) => one.then.short < now.short - LEAST)
    .sort((a, b) => left(a) - left(b) || a.then.short - b.then.short)
    .slice(0, TOLD)
    .map((one) => {
      const count = left(one);
      const rest = count ? `${counted(count, "limit")} not met then` : page.words.allMet;
      return `${one.words}; ${rest}`;
    });
}

const counted = (count, noun) => `${count} ${noun}${count === 1 ? "" : "s"}`;
