const ROUND_OFF = 1e-9; // relative; a number this close to a bound stands on it

// Series in Chebyshev polynomials over dials: what the page reads instead of solving the train.

// Values of the first `count` polynomials at x in [low, high].
function basis(x, low, high, count) {
  const t = (2 * x - (low + high)) / (high - low);
  const row = new Float64Array(count);
  row[0] = 1;
  if (count > 1) row[1] = t;
  for (let k = 2; k < count; k++) row[k] = 2 * t * row[k - 1] - row[k - 2];
  return row;
}

// Sum one axis of a block (outer x count x inner) against a row of weights.
function contract(block, outer, count, inner, row) {
  const sum = new Float64Array(outer * inner);
  for (let i = 0; i < outer; i++) {
    for (let m = 0; m < count; m++) {
      const from = (i * count + m) * inner;
      const weight = row[m];
      for (let j = 0; j < inner; j++) sum[i * inner + j] += weight * block[from + j];
    }
  }
  return sum;
}

class Field {
  constructor(told) {
    Object.assign(this, told);
    this.blocks = told.parts.map((part) => {
      const weights = Float64Array.from(part.whole, (n) => n * part.step);
      return part.at ? { weights, orders: part.at.map((place) => this.orders(place)) } : weights;
    });
  }

  // The order along each axis of a place in the block of all orders.
  orders(place) {
    let rest = place;
    return [...this.counts].reverse().map((count) => {
      const order = rest % count;
      rest = (rest - order) / count;
      return order;
    }).reverse();
  }

  // A block of few weights as one over the axes numbered in `rest` alone; `rows`: of the others.
  gathered({ weights, orders }, rows, rest) {
    const sizes = rest.map((n) => this.counts[n]);
    const sum = new Float64Array(sizes.reduce((a, b) => a * b, 1));
    orders.forEach((order, term) => {
      let weight = weights[term];
      rows.forEach((row, n) => { if (row) weight *= row[order[n]]; });
      sum[rest.reduce((place, n, k) => place * sizes[k] + order[n], 0)] += weight;
    });
    return sum;
  }

  // The same field where only the axes in `kept` still move; all others stand at `at`.
  along(at, kept) {
    const twin = Object.assign(Object.create(Field.prototype), this);
    const rest = this.axes.map((_, n) => n).filter((n) => kept.has(this.axes[n]));
    const rows = this.axes.map((axis, n) => (kept.has(axis) ? null
      : basis(at[axis], ...this.ranges[n], this.counts[n])));
    twin.blocks = this.blocks.map((block) => {
      if (block.orders) return this.gathered(block, rows, rest);
      const counts = [...this.counts];
      let found = block;
      this.axes.forEach((axis, n) => {
        if (kept.has(axis)) return;
        const product = (some) => some.reduce((a, b) => a * b, 1);
        const sizes = [product(counts.slice(0, n)), counts[n], product(counts.slice(n + 1))];
        found = contract(found, ...sizes, rows[n]);
        counts[n] = 1;
      });
      return found;
    });
    for (const key of ["axes", "ranges", "counts"]) twin[key] = rest.map((n) => this[key][n]);
    return twin;
  }

  // `flow` divides what is carried as an amount.
  value(at, flow) {
    const { axes, ranges, counts } = this;
    for (let n = 0; n < axes.length; n++) if (!inside(at[axes[n]], ranges[n])) return NaN;
    const rows = axes.map((axis, n) => basis(at[axis], ranges[n][0], ranges[n][1], counts[n]));
    let best = NaN;
    for (const block of this.blocks) {
      let found = block.orders ? this.gathered(block, rows, []) : block;
      for (let n = block.orders ? -1 : rows.length - 1; n >= 0; n--) {
        found = contract(found, found.length / counts[n], counts[n], 1, rows[n]);
      }
      const number = this.log ? Math.exp(found[0]) : found[0];
      if (Number.isNaN(best) || (this.largest ? number > best : number < best)) best = number;
    }
    return (this.factor * best) / (this.perFlow ? flow : 1);
  }

  // Half width of the band the true number lies in.
  band(value) {
    return this.error * (this.share ? Math.max(this.size, Math.abs(value)) : this.size);
  }
}

// What jumps or bends, composed of what does not: a tree over ends [low, high] of its reads.
const ENDS = {
  sum: (a, b) => a + b, times: (a, b) => a * b,
  least: (a, b) => Math.min(a, b), most: (a, b) => Math.max(a, b),
};
const OWN = {
  less: ([a, b]) => [a[0] - b[1], a[1] - b[0]],
  over: ([a, b]) => [a[0] / b[1], a[1] / b[0]],
  floor: ([a]) => a.map((x) => Math.floor(x * (1 + ROUND_OFF))),
  log10: ([a]) => a.map(Math.log10),
  mixed: ([log, share]) => log.map((x) => -Math.log10((1 - share[0]) * 10 ** -x + share[0])),
};

function span(tree, ends) {
  if (typeof tree === "number") return [tree, tree];
  if (typeof tree === "string") return ends(tree);
  const [name, ...parts] = tree;
  if (name === "steps") {
    const [x, bounds, choices] = parts;
    const reached = (value) => {
      const slack = value + ROUND_OFF * Math.abs(value);
      let n = 0;
      while (n < bounds.length && bounds[n] <= slack) n++;
      return n;
    };
    return among(span(x, ends), reached, choices, ends);
  }
  if (name === "upto") {
    const [x, bound, ...choices] = parts;
    const over = (value) => (value > bound + ROUND_OFF * Math.abs(bound) ? 1 : 0);
    return among(span(x, ends), over, choices, ends);
  }
  const found = parts.map((part) => span(part, ends));
  if (name in OWN) return OWN[name](found);
  return found.reduce((a, b) => [ENDS[name](a[0], b[0]), ENDS[name](a[1], b[1])]);
}

// Ends over every choice that may hold while a number lies between its own ends.
function among([low, high], which, choices, ends) {
  if (Number.isNaN(low) || Number.isNaN(high)) return [NaN, NaN];
  const found = choices.slice(which(low), which(high) + 1).map((choice) => span(choice, ends));
  return found.reduce((a, b) => [Math.min(a[0], b[0]), Math.max(a[1], b[1])]);
}

function namesIn(tree) {
  if (typeof tree === "string") return [tree];
  return Array.isArray(tree) ? tree.slice(1).flatMap(namesIn) : [];
}

function inside(x, [low, high]) {
  const slack = 1e-9 * (high - low);
  return x >= low - slack && x <= high + slack;
}

// Everything the page carries; `names` of fields in an order in which each finds its axes.
class Train {
  constructor(told) {
    this.flow = told.flow;
    this.fixed = told.fixed;
    this.fields = new Map(Object.entries(told.fields).map(([name, one]) => [name, new Field(one)]));
    this.composed = told.composed;
    this.whole = this.fields;
    this.kept = new Set();
  }

  // The train along some dials only, for many points that differ in nothing else: what these
  // dials do not move is a number there.
  along(at, dials) {
    const whole = this.read(at);
    const kept = new Set(dials);
    const moves = (field) => field !== undefined
      && (field.axes.some((axis) => kept.has(axis)) || (field.perFlow && kept.has(this.flow)));
    if (moves(this.fields.get(this.flow))) kept.add(this.flow);
    const twin = Object.assign(Object.create(Train.prototype), this);
    twin.kept = kept;
    twin.fixed = { ...this.fixed };
    twin.fields = new Map();
    for (const [name, field] of this.fields) {
      if (moves(field)) twin.fields.set(name, field.along(whole.at, kept));
      else twin.fixed[name] = field.value(whole.at, whole.at[this.flow]);
    }
    return twin;
  }

  // Whether a number moves along the dials kept.
  moves(name) {
    const own = (read) => this.fields.has(read) || this.kept.has(read);
    return name in this.composed ? namesIn(this.composed[name]).some(own) : this.fields.has(name);
  }

  // Every number at a setting of all dials: { at, value(name), ends(name) }.
  read(settings) {
    const at = { ...settings };
    const flow = this.fields.get(this.flow);
    at[this.flow] = flow ? flow.value(at) : this.fixed[this.flow];
    const seen = new Map();
    const once = (name, make) => {
      if (!seen.has(name)) seen.set(name, make());
      return seen.get(name);
    };
    const plain = (name) => once(name, () => {
      if (this.fields.has(name)) return this.fields.get(name).value(at, at[this.flow]);
      if (name in this.fixed) return this.fixed[name];
      return name in at ? at[name] : NaN;
    });
    const value = (name) => (name in this.composed
      ? span(this.composed[name], (read) => [plain(read), plain(read)])[0] : plain(name));
    const ends = (name) => {
      if (name in this.composed) return span(this.composed[name], ends);
      const number = plain(name);
      const band = this.whole.has(name) ? this.whole.get(name).band(number) : 0;
      return [number - band, number + band];
    };
    return { at, value, ends };
  }
}
