// The indices of a tray, worked out as the portal works them out (scoring/indices); a test holds the two together.
// Lines come from count-lines.js, tables from scoring/provisional.py.
import { isFound } from "./count-lines.js";

// Scores by index as { value, low, high }; null stands for what is not defined or has no limits. The whole answer is
// null where a line is not known or there is no share: nothing is better than something wrong.
export function scoresOf(lines, share, tables) {
  if (Number.isNaN(share) || lines.some((line) => line.taxon === null)) return null;
  const sample = sampleOf(lines.filter(isFound), share, tables);
  const groups = Object.entries(tables.tables).map(([key, table]) => [key, groupsOf(sample, table)]);
  const all = Object.assign({}, ...groups.map(([key, grouped]) => SCORERS[key](grouped, tables.tables[key].values, tables)));
  return Object.fromEntries(Object.keys(tables.decimals).map((index) => [index, all[index]]));
}

const SCORERS = {
  bmwp: (groups, points) => {
    const total = sum([...groups.keys()].map((taxon) => points[taxon]));
    const mean = groups.size ? total / groups.size : null;
    return { bmwp: exactly(total), ntaxa: exactly(groups.size), aspt: exactly(mean) };
  },
  ept: (groups) => ({ ept_families: exactly(groups.size) }),
  whpt: (groups, values, tables) => {
    const mean = groups.size ? whptOf(groups, values, tables, groups.size) : exactly(null);
    return { whpt: whptOf(groups, values, tables, 1), whpt_ntaxa: exactly(groups.size), whpt_aspt: mean };
  },
  bankside: (groups, weights, tables) => ({ bankside: banksideOf(groups, weights, tables) }),
};

const exactly = (value) => ({ value, low: null, high: null });
const sum = (numbers) => numbers.reduce((total, each) => total + each, 0);
const cut = (value) => Number(value.toFixed(9)) || 0;

// Names in order, and lines of one name joined before taxa are: sums of fractions then end in the same last digit.
function sampleOf(lines, share, tables) {
  const sample = new Map();
  for (const line of [...lines].sort((one, other) => (one.name < other.name ? -1 : Number(one.name > other.name)))) {
    const key = line.name.toLowerCase();
    const { taxon, amount } = sample.get(key) ?? { taxon: line.taxon };
    sample.set(key, { taxon, amount: joined(amount, amountOf(line, line.whole ? 1 : share, tables)) });
  }
  return [...sample.values()];
}

function groupsOf(sample, { values, joined: places }) {
  const groups = new Map();
  for (const { taxon, amount } of sample) {
    const target = places[taxon] ?? (Object.hasOwn(values, taxon) ? taxon : null);
    if (target) groups.set(target, joined(groups.get(target), amount));
  }
  return groups;
}

function joined(one, other) {
  if (!one) return other;
  const number = one.number === null || other.number === null ? null : one.number + other.number;
  return { fewest: one.fewest + other.fewest, number, most: one.most + other.most };
}

// Animals in the whole tray; a share leaves their number open within 95 % limits (scoring/subsampling.py).
function amountOf(line, share, tables) {
  const counted = countedOf(line, tables);
  if (share === 1) return counted;
  return {
    fewest: limitsInTray(counted.fewest, share, tables.spread)[0],
    number: counted.number === null ? null : counted.number / share,
    most: counted.most === Infinity ? Infinity : limitsInTray(counted.most, share, tables.spread)[1],
  };
}

function countedOf({ count, low, high }, { ranges }) {
  if (count !== undefined) return { fewest: count, number: count, most: count };
  if (low === undefined) return { fewest: 1, number: null, most: Infinity };
  return { fewest: low, number: ranges.find(([start]) => start === low)[2], most: high };
}

function limitsInTray(found, share, deviate) {
  const spread = deviate * (1 - share);
  const middle = 2 * found + spread;
  const width = Math.sqrt(spread * (spread + 4 * found));
  const rounded = (value) => Number(value.toFixed(6));
  const low = Math.ceil(rounded((middle - width) / (2 * share)));
  const high = Math.floor(rounded((middle + width) / (2 * share)));
  return [Math.max(low, Math.ceil(found)), Math.max(high, Math.ceil(rounded(found / share)))];
}

function whptOf(groups, values, { ranges }, divisor) {
  const place = (number) => ranges.filter(([low]) => number >= low).length - 1;
  const amounts = [...groups].map(([taxon, amount]) => [values[taxon], amount]);
  const ends = amounts.map(([row, { fewest, most }]) => row.slice(place(fewest), place(most) + 1));
  const isKnown = amounts.every(([, { number }]) => number !== null);
  const value = isKnown ? cut(sum(amounts.map(([row, { number }]) => row[place(number)])) / divisor) : null;
  const end = (pick) => sum(ends.map((possible) => pick(...possible))) / divisor;
  return { value, ...limits(end(Math.min), end(Math.max)) };
}

function banksideOf(groups, weights, { openRange }) {
  const amounts = [...groups].sort(([one], [other]) => (one < other ? -1 : 1));
  if (amounts.some(([, { number }]) => number === null)) return exactly(null);
  const part = (group, number) => weights[group] * Math.log10(1 + number);
  const ends = amounts.map(([group, { fewest, most }]) =>
    [part(group, fewest), part(group, most === Infinity ? openRange * fewest - 1 : most)].sort((one, other) => one - other),
  );
  const value = cut(sum(amounts.map(([group, { number }]) => part(group, number))));
  return { value, ...limits(sum(ends.map(([low]) => low)), sum(ends.map(([, high]) => high))) };
}

function limits(lowest, highest) {
  const [low, high] = [cut(lowest), cut(highest)];
  return low < high ? { low, high } : { low: null, high: null };
}

// A number with so many decimals, halves away from nought, as the portal prints it; a dash for none.
export function printed(value, decimals, point = ".") {
  if (value === null) return "–";
  // So small that no digit of it is printed, and written with an exponent.
  const [whole, part = ""] = (Math.abs(value) < 1e-6 ? "0" : String(Math.abs(value))).split(".");
  const digits = BigInt(whole + part.padEnd(decimals + 1, "0").slice(0, decimals + 1));
  const text = String((digits + 5n) / 10n).padStart(decimals + 1, "0");
  const sign = value < 0 && /[1-9]/.test(text) ? "-" : "";
  return sign + (decimals ? `${text.slice(0, -decimals)}${point}${text.slice(-decimals)}` : text);
}
