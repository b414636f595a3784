// Puts a button under each chart that draws it again so that it can be zoomed: drag to zoom, double
// click (or the button) to go back. Without this script the picture of the server stays.
"use strict";
(() => {
  if (!window.uPlot || !window.fetch) return;
  const css = (name) => getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  const value = (slots, of) => slots.map((slot) => of(slot) ?? null);

  // Where nothing was recorded a slot without values stands at either end, so that no line leads across.
  const withGaps = (slots) => {
    const begin = (slot) => Date.parse(slot.start_utc);
    const end = (slot) => begin(slot) + 1000 * slot.span_s;
    const none = (at, slot) => ({
      start_utc: new Date(at).toISOString(), span_s: 0, ac_power_w: null, expected_ac_power_w: null,
      inputs: slot.inputs.map(() => ({})),
    });
    return slots.flatMap((slot, i) => {
      const last = slots[i - 1];
      return last && begin(slot) > end(last) ? [none(end(last), slot), none(begin(slot), slot), slot] : [slot];
    });
  };

  const panels = (day, words) => {
    const all = [{
      title: `${words.power}, kW`,
      measured: value(day.slots, (s) => s.ac_power_w === null ? null : s.ac_power_w / 1000),
      expected: value(day.slots, (s) => s.expected_ac_power_w === null ? null : s.expected_ac_power_w / 1000),
    }];
    const inputs = day.slots.length ? day.slots[0].inputs : [];
    inputs.forEach((input, k) => {
      for (const [name, unit, key] of [[words.voltage, "V", "dc_voltage_v"], [words.current, "A", "dc_current_a"]]) {
        const sigma = "expected_" + key.replace(/_([va])$/, "_sigma_$1");
        const expected = value(day.slots, (s) => s.inputs[k]["expected_" + key]);
        const width = value(day.slots, (s) => s.inputs[k][sigma]);
        all.push({
          title: `${words.input} ${input.input}: ${name}, ${unit}`,
          measured: value(day.slots, (s) => s.inputs[k][key]),
          expected,
          low: expected.map((e, i) => e === null || width[i] === null ? null : e - 2 * width[i]),
          high: expected.map((e, i) => e === null || width[i] === null ? null : e + 2 * width[i]),
        });
      }
    });
    return all;
  };

  const clock = (zone) => {
    const format = new Intl.DateTimeFormat([], { timeZone: zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23" });
    return (seconds) => seconds === null ? "–" : format.format(new Date(seconds * 1000));
  };
  // At dawn the voltage runs through everything from zero; that would press the rest together.
  const range = (panel) => (_, least, most) => {
    const lows = (panel.low || []).filter((v) => v !== null);
    const from = lows.length ? Math.min(...lows) : 0;
    const low = from > 0.4 * most ? from - 0.05 * (most - from) : Math.min(least, 0);
    return [low, most + 0.05 * (most - low)];
  };

  const draw = (place, day, words) => {
    const zone = words.zone;
    const time = clock(zone);
    const format = new Intl.NumberFormat(document.documentElement.lang, { maximumFractionDigits: 3, useGrouping: false });
    const number = (v) => v === null || v === undefined ? "–" : format.format(v);
    const times = day.slots.map((s) => Date.parse(s.start_utc) / 1000 + s.span_s / 2);
    const sync = { key: "day" };
    return panels(day, words).map((panel) => {
      const hasBand = Boolean(panel.low);
      const axis = { stroke: css("--soft"), grid: { stroke: css("--line"), width: 1 }, ticks: { stroke: css("--line") } };
      const options = {
        title: panel.title,
        width: place.clientWidth,
        height: 190,
        cursor: { sync },
        tzDate: (seconds) => uPlot.tzDate(new Date(seconds * 1000), zone),
        scales: { y: { range: range(panel) } },
        series: [
          { label: words.time, value: (_, seconds) => time(seconds) },
          { label: words.measured, value: (_, v) => number(v), stroke: css("--measured"), width: 2, points: { show: false } },
          { label: words.expected, value: (_, v) => number(v), stroke: css("--expected"), width: 2, dash: [6, 4], points: { show: false } },
          ...(hasBand ? [
            { label: words.to, value: (_, v) => number(v), stroke: "transparent", points: { show: false } },
            { label: words.from, value: (_, v) => number(v), stroke: "transparent", points: { show: false } },
          ] : []),
        ],
        bands: hasBand ? [{ series: [3, 4], fill: css("--expected") + "38" }] : [],
        axes: [{ ...axis, values: (_, splits) => splits.map(time) }, { ...axis, values: (_, splits) => splits.map(number), size: 56 }],
      };
      const data = [times, panel.measured, panel.expected, ...(hasBand ? [panel.high, panel.low] : [])];
      return new uPlot(options, data, place);
    });
  };

  const enhance = (chart) => {
    if (chart.querySelector("button")) return;
    const picture = chart.querySelector("picture");
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = chart.dataset.zoom;
    chart.append(button);
    let place = null;
    button.addEventListener("click", async () => {
      if (place) {
        place.remove();
        place = null;
        picture.hidden = false;
        button.textContent = chart.dataset.zoom;
        return;
      }
      try {
        const answer = await fetch(chart.dataset.chart, { credentials: "same-origin" });
        if (!answer.ok) return;
        const day = await answer.json();
        day.slots = withGaps(day.slots);
        place = document.createElement("div");
        place.className = "plot";
        picture.hidden = true;
        chart.prepend(place);
        const plots = draw(place, day, chart.dataset);
        addEventListener("resize", () => place && plots.forEach((p) => p.setSize({ width: place.clientWidth, height: 190 })));
        button.textContent = chart.dataset.plain;
      } catch {
        // The picture stays.
        picture.hidden = false;
      }
    });
  };
  const all = () => document.querySelectorAll("figure.chart[data-chart]").forEach(enhance);
  all();
  document.addEventListener("noonmark:renewed", all);
})();
