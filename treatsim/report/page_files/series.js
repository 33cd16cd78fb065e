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
    this.blocks = told.parts.map((part) => Float64Array.from(part.whole, (n) => n * part.step));
  }

  // The same field where only the axes in `kept` still move; all others stand at `at`.
  along(at, kept) {
    const twin = Object.assign(Object.create(Field.prototype), this);
    twin.outside = this.axes.some((axis, n) => !kept.has(axis) && !inside(at[axis], this.ranges[n]));
    twin.blocks = this.blocks.map((block) => this.summed(block, at, (axis) => !kept.has(axis)));
    const rest = this.axes.map((_, n) => n).filter((n) => kept.has(this.axes[n]));
    for (const key of ["axes", "ranges", "counts"]) twin[key] = rest.map((n) => this[key][n]);
    return twin;
  }

  summed(block, at, gone) {
    const counts = [...this.counts];
    let found = block;
    this.axes.forEach((axis, n) => {
      if (!gone(axis)) return;
      const outer = counts.slice(0, n).reduce((a, b) => a * b, 1);
      const inner = counts.slice(n + 1).reduce((a, b) => a * b, 1);
      const row = basis(at[axis], ...this.ranges[n], counts[n]);
      found = contract(found, outer, counts[n], inner, row);
      counts[n] = 1;
    });
    return found;
  }

  value(at) {
    const here = (axis, n) => inside(at[axis], this.ranges[n]);
    if (this.outside || !this.axes.every(here)) return NaN;
    const parts = this.blocks.map((block) => this.summed(block, at, () => true)[0]);
    const numbers = this.log ? parts.map(Math.exp) : parts;
    return this.factor * (this.largest ? Math.max(...numbers) : Math.min(...numbers));
  }

  // Half width of the band the true number lies in.
  band(value) {
    return this.error * (this.share ? Math.max(this.size, Math.abs(value)) : this.size);
  }
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
  }

  // The train along some dials only, for many points that differ in nothing else.
  along(at, dials) {
    const whole = this.read(at);
    const moves = (field) => field && field.axes.some((axis) => dials.includes(axis));
    const kept = new Set(dials);
    if (moves(this.fields.get(this.flow))) kept.add(this.flow);
    const twin = Object.assign(Object.create(Train.prototype), this);
    const pairs = [...this.fields].map(([name, field]) => [name, field.along(whole.at, kept)]);
    twin.fields = new Map(pairs);
    return twin;
  }

  // Every number at a setting of all dials: { at, value(name), band(name) }.
  read(settings) {
    const at = { ...settings };
    const flow = this.fields.get(this.flow);
    if (flow) at[this.flow] = flow.value(at);
    const value = (name) => {
      if (name in this.fixed) return this.fixed[name];
      return this.fields.has(name) ? this.fields.get(name).value(at) : NaN;
    };
    const band = (name, number) => (this.fields.has(name) ? this.fields.get(name).band(number) : 0);
    return { at, value, band };
  }
}
