// Rows of the tray as lines of a record, read as the portal reads them. What is odd is named, never guessed; this
// module knows no page, so that a test can hold it to the portal's own reading.
const LARGEST = 1_000_000;
const PRESENT = "present";

const tidy = (text) => text.trim().replace(/\s+/g, " ");
const keyOf = (text) => tidy(text.replace(/[()]/g, " ")).toLowerCase();

// The names that the tables know. `find` gives the taxon, and the name that is scored; null for what is not known
// here, which may yet be known to the portal.
export class Names {
  constructor({ taxa, genera, words }) {
    this.known = new Map(Object.entries(taxa).flatMap(([taxon, others]) => others.map((name) => [name, taxon])));
    for (const taxon of Object.keys(taxa)) this.known.set(keyOf(taxon), taxon);
    for (const [name, taxon] of [...this.known]) this.known.set(plural(name), taxon);
    this.genera = new Map(Object.entries(genera).flatMap(([family, names]) => names.map((name) => [name, family])));
    this.taken = new Set([...words, ...this.known.keys(), ...this.genera.keys()]);
  }

  find(text) {
    const key = keyOf(text);
    const taxon = this.known.get(key);
    if (taxon) return { taxon, name: taxon };
    const family = this.genera.get(key) ?? this.familyOfSpecies(key);
    return family ? { taxon: family, name: tidy(text) } : null;
  }

  familyOfSpecies(key) {
    const [genus, species, ...more] = key.split(" ");
    const isSpecies = more.length === 0 && /^[a-z]{2,}$/.test(species ?? "");
    return isSpecies && (species === genus || !this.taken.has(species)) ? this.genera.get(genus) : undefined;
  }
}

// As scoring/taxa.py makes plurals.
function plural(key) {
  if (key.endsWith("y") && !key.endsWith("ey")) return `${key.slice(0, -1)}ies`;
  if (key.endsWith("louse")) return `${key.slice(0, -5)}lice`;
  return key + (/[sxh]$/.test(key) ? "es" : "s");
}

// Limits of a range as its choice is written: "10-99" or "1000+".
export function limitsOf(range) {
  const [low, high] = range.split("-");
  return { low: parseInt(low, 10), high: high === undefined ? Infinity : Number(high) };
}

// What a row contradicts, as the name of a sentence; "" for nothing. `own` rows are those whose name is typed.
export function problemOf({ taxon, own, count, range, none, key }) {
  if (count && !/^\d{1,9}$/.test(count)) return "number";
  if (Number(count) > LARGEST) return "large";
  if (none && (count || range)) return "noneAndNumber";
  const isAbsent = none || (count !== "" && Number(count) === 0);
  if (isAbsent && range) return range === PRESENT ? "zeroAndSeen" : "zeroAndRange";
  if (count && range && range !== PRESENT && !isWithin(Number(count), limitsOf(range))) return "outside";
  if (key && isAbsent) return "keyAndNone";
  if (key && !count && !range) return "keyAlone";
  const isSaid = Boolean(isAbsent || count || range);
  if (isSaid === Boolean(tidy(taxon))) return "";
  return isSaid ? "nameless" : own ? "unsaid" : "";
}

const isWithin = (count, { low, high }) => count >= low && count <= high;

// A row without a contradiction as { taxon, name, count | low, high | neither, whole }, null where it says nothing.
// `taxon` is null for a name that is not known here.
export function lineOf(row, names) {
  const amount = amountOf(row);
  if (!amount) return null;
  const written = row.as || row.taxon;
  const known = names.find(row.taxon);
  const finer = names.find(written);
  const taxon = known?.taxon ?? null;
  const name = finer && finer.taxon === taxon ? finer.name : taxon;
  const line = [taxon ?? keyOf(row.taxon), keyOf(written) === keyOf(taxon ?? "") ? "" : keyOf(written), row.whole];
  return { taxon, name, written: tidy(written), whole: row.whole, line: line.join("|"), ...amount };
}

function amountOf({ count, range, none }) {
  if (none) return { count: 0 };
  if (count) return { count: Number(count) };
  if (range === PRESENT) return {};
  return range ? limitsOf(range) : null;
}

// The share of the tray that was sorted: 1 where nothing is said, NaN where it is no share.
export function shareOf(text) {
  const typed = text.replace(/\s/g, "").replace("\u2044", "/");
  if (!typed) return 1;
  const [, part, whole] = /^([1-9]\d{0,3})\/([1-9]\d{0,3})$/.exec(typed) ?? [];
  return Number(part) <= Number(whole) ? part / whole : NaN;
}

export const isFound = (line) => line.count !== 0;

// Animals that were really counted, fewest and most, and how many taxa they are.
export function totalsOf(lines) {
  const found = lines.filter(isFound);
  const sum = (end) => found.reduce((total, line) => total + (line.count ?? line[end] ?? { low: 1, high: Infinity }[end]), 0);
  return { fewest: sum("low"), most: sum("high"), taxa: new Set(found.map((line) => line.taxon ?? line.line)).size };
}

// Lines that speak of the same taxon in the same part of the tray.
export function repeated(lines) {
  const seen = new Set();
  return lines.filter(({ line }) => seen.has(line) || !seen.add(line));
}
