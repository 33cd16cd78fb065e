// The operating window: two dials, every field of them judged, and the point where they stand.

const ACROSS = 41, UP = 31;
const SHADES = { [MET]: 0, [NOT_JUDGED]: 0, [WAIVED]: 0, [NEAR]: 1, [NOT_MET]: 2 };

// The darkest shade that any of the limits calls for.
function shade(limits, reading) {
  let found = 0;
  for (const limit of limits) found = Math.max(found, SHADES[judged(limit, reading).state]);
  return found;
}

class OperatingWindow {
  constructor(page, item) {
    this.page = page;
    this.ready = Bokeh.embed.embed_item(item).then((views) => {
      const model = (name) => views.get_by_id(item.root_id).model.select_one(name);
      Object.assign(this, { shades: model("shades"), ring: model("ring"), plot: model("plot") });
    });
  }

  // Judge every field of the window; the range met through the point is told in words.
  draw(settings, across, up) {
    const { page } = this;
    const [x, y] = [across, up].map((address) => page.dials.find((d) => d.address === address));
    const plane = page.train.along(settings, [x.address, y.address]);
    const moves = (limit) => plane.moves(limit.value) || plane.moves(limit.limit);
    const still = page.limits.filter((limit) => !moves(limit));
    const moved = page.limits.filter((limit) => moves(limit) && limit.judged && !limit.waived);
    const floor = shade(still, plane.read(settings));
    const cells = new Uint8Array(ACROSS * UP).fill(floor);
    const at = { ...settings };
    for (let row = 0; row < UP && floor < 2; row++) {
      at[y.address] = y.low + ((y.high - y.low) * (row + 0.5)) / UP;
      for (let n = 0; n < ACROSS; n++) {
        at[x.address] = x.low + ((x.high - x.low) * (n + 0.5)) / ACROSS;
        cells[row * ACROSS + n] = Math.max(floor, shade(moved, plane.read(at)));
      }
    }
    this.paint(cells, [x, y], settings);
    return this.inWords(settings, x);
  }

  paint(cells, [x, y], settings) {
    const { page } = this;
    const ends = (dial) => [page.show(dial.low, dial.kind), page.show(dial.high, dial.kind)];
    const [left, right] = ends(x), [bottom, top] = ends(y);
    const { ndarray } = Bokeh.require("core/util/ndarray");
    const image = ndarray(cells, { dtype: "uint8", shape: [UP, ACROSS] });
    this.shades.data = { image: [image], x: [left], y: [bottom], dw: [right - left], dh: [top - bottom] };
    const here = [page.show(settings[x.address], x.kind), page.show(settings[y.address], y.kind)];
    this.ring.data = { x: [here[0]], y: [here[1]] };
    this.plot.x_range.setv({ start: left, end: right });
    this.plot.y_range.setv({ start: bottom, end: top });
    this.plot.below[0].axis_label = page.label(x);
    this.plot.left[0].axis_label = page.label(y);
  }

  // Where along one dial, all others as they stand, no judged limit is missed.
  inWords(settings, dial) {
    const { page } = this;
    const steps = 100;
    const line = page.train.along(settings, [dial.address]);
    const good = Array.from({ length: steps + 1 }, (_, n) => {
      const x = dial.low + ((dial.high - dial.low) * n) / steps;
      const reading = line.read({ ...settings, [dial.address]: x });
      return shade(page.limits, reading) === 0 ? x : null;
    });
    const spans = [];
    good.forEach((x, n) => {
      if (x === null) return;
      if (n === 0 || good[n - 1] === null) spans.push([x, x]);
      spans.at(-1)[1] = x;
    });
    const told = spans.map(([a, b]) => `${page.text(a, dial.kind, 3)} to ${page.text(b, dial.kind, 3)}`);
    return told.length
      ? `${dial.address}, all else as it stands: no judged limit is missed from ${told.join(" and from ")}.`
      : `${dial.address}, all else as it stands: a limit is missed at every setting carried here.`;
  }
}
