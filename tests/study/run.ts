import { readFileSync, writeFileSync } from 'node:fs';
import { createRandom } from '@longhold/core/numeric';
import { AGREEMENT_COVERAGE } from './agreement-coverage';
import { COMPETING_EVENTS_COVERAGE } from './competing-events-coverage';
import type { CoverageStudy, JointCoverageStudy, Outcome } from './coverage-study';
import { CURVE_DOUBT_COVERAGE } from './curve-doubt-coverage';
import { COX_COVERAGE } from './cox-coverage';
import { FILM_COVERAGE } from './film-coverage';
import { GROWTH_REFERENCE_COVERAGE } from './growth-reference-coverage';
import { INTERVAL_CENSORED_COVERAGE } from './interval-censored-coverage';
import { LOSS_OUTCOME_COVERAGE } from './loss-outcome-coverage';
import { MAIN_JOB_COVERAGE } from './main-job-coverage';
import { MIXED_COVERAGE } from './mixed-coverage';
import { plannedChapter } from './planned-precision';
import { POOL_DOUBT_COVERAGE } from './pool-doubt-coverage';
import { POOLED_COVERAGE } from './pooled-coverage';
import { POOLING_COVERAGE } from './pooling-coverage';
import { RATIO_COVERAGE } from './ratio-coverage';
import { RIGHT_CENSORED_COVERAGE } from './right-censored-coverage';
import { SEPARATION_COVERAGE } from './separation-coverage';
import { chaptersOf, rowOf, rowsAmong, SHORT_BY, type Row } from './validation-page';

const SEED = 20261125;

const CHAPTERS: readonly { readonly title: string; readonly studies: readonly Study[] }[] = [
  { title: 'The main job', studies: MAIN_JOB_COVERAGE },
  { title: 'Lasting gain and growth brought forward', studies: SEPARATION_COVERAGE },
  { title: 'Growth from imported tables and by stage of maturity', studies: GROWTH_REFERENCE_COVERAGE },
  { title: 'Survival where growth is estimated', studies: CURVE_DOUBT_COVERAGE },
  { title: 'Survival, right-censored and left-truncated', studies: RIGHT_CENSORED_COVERAGE },
  { title: 'Cox regression', studies: COX_COVERAGE },
  { title: 'Survival, interval-censored', studies: INTERVAL_CENSORED_COVERAGE },
  { title: 'Groups and absence, from records to answers', studies: LOSS_OUTCOME_COVERAGE },
  { title: 'Competing events', studies: COMPETING_EVENTS_COVERAGE },
  { title: 'Linear mixed models', studies: MIXED_COVERAGE },
  { title: 'Pooling of studies', studies: POOLING_COVERAGE },
  { title: 'Pool of centres', studies: POOLED_COVERAGE },
  { title: 'Pool of centres, growth estimated', studies: POOL_DOUBT_COVERAGE },
  { title: 'Agreement and method error', studies: AGREEMENT_COVERAGE },
  { title: 'Films and retracing', studies: FILM_COVERAGE },
  { title: 'Ratio of means', studies: RATIO_COVERAGE },
];

type Study = CoverageStudy | JointCoverageStudy;
type Counts = Record<Outcome, number>;

/** Runs one study; every sample has its own stream, so that adding a study changes no other. */
function countsOf(study: Study): Map<string, Counts> {
  const counts = new Map<string, Counts>();
  const note = (interval: string, outcome: Outcome): void => {
    const count = counts.get(interval) ?? {
      covered: 0,
      'truth-below': 0,
      'truth-above': 0,
      open: 0,
      undefined: 0,
    };
    count[outcome]++;
    counts.set(interval, count);
  };
  for (let replicate = 0; replicate < study.replicates; replicate++) {
    const random = createRandom(SEED + replicate);
    if ('trial' in study) note(study.interval, study.trial(random));
    else {
      for (const [interval, outcomes] of Object.entries(study.trials(random))) {
        for (const outcome of outcomes) note(interval, outcome);
      }
    }
  }
  return counts;
}

function rowsOf(study: Study): Row[] {
  const started = performance.now();
  const rows = [...countsOf(study)].map(([interval, counts]) => row(study, interval, counts));
  for (const { line } of rows) console.log(line);
  console.log(`  ${((performance.now() - started) / 1000).toFixed(1)} s`);
  return rows;
}

function row({ situation, level, replicates }: Study, interval: string, counts: Counts): Row {
  const covered = counts.covered + counts.open;
  const given = covered + counts['truth-below'] + counts['truth-above'];
  const percent = (count: number): string => (given === 0 ? 'none' : ((100 * count) / given).toFixed(1));
  // Patients of one sample share much of their error, so the samples are what counts.
  const noise = 196 * Math.sqrt((level * (1 - level)) / Math.min(given, replicates));
  const cells = [
    interval,
    situation,
    (100 * level).toFixed(0),
    `**${percent(covered)}**`,
    `${percent(counts['truth-below'])} / ${percent(counts['truth-above'])}`,
    given === 0 ? '' : noise.toFixed(1),
    `${replicates}`,
    `${counts.undefined}${counts.open === 0 ? '' : ` + ${counts.open} open`}`,
  ];
  return rowOf(`| ${cells.join(' | ')} |`);
}

const HEADER = [
  '| interval | situation | claimed, % | covered, % | truth below / above, % | noise, ± % | samples | no interval |',
  '| --- | --- | ---: | ---: | ---: | ---: | ---: | ---: |',
];

/** Run in part, the page keeps the other chapters as they were. */
const PAGE = 'docs/validation.md';
const only = process.argv[2];
const before = only === undefined ? new Map<string, string[]>() : chaptersOf(readFileSync(PAGE, 'utf8'));
const isAsked = (title: string): boolean => only === undefined || title.includes(only);
const chapters = CHAPTERS.map(({ title, studies }) => ({
  title,
  rows: isAsked(title) ? studies.flatMap(rowsOf) : rowsAmong(before.get(title) ?? []),
})).filter(({ rows }) => rows.length > 0);

const PLANS = 'Planned and found half-widths';
const PLANNED_STUDIES = 200;
const plans = isAsked(PLANS) ? plannedChapter(PLANNED_STUDIES, SEED) : (before.get(PLANS) ?? []).slice(1);
if (isAsked(PLANS)) for (const line of plans) console.log(line);

function page(): string {
  const all = chapters.flatMap(({ rows }) => rows);
  const short = all.filter((found) => found.short);
  const lines = (rows: readonly Row[]): string[] => [...HEADER, ...rows.map(({ line }) => line), ''];
  return [
    '# Do the intervals cover as often as they claim?',
    '',
    `Made by \`npm run study\`, chapter by chapter, last on ${new Date().toISOString().slice(0, 10)}, seed ${SEED}, Node ${process.version}. Every sample is invented, with the truth known. "No interval": the method said that it can give none; such samples are left out of the percentages. "Open": it said that the data allow any value, which counts as covering. "Noise": how far the percentage of a sound interval may be off by chance.`,
    '',
    `## Intervals that fall short`,
    '',
    `${short.length} of ${all.length} cover more than ${SHORT_BY} point beyond the noise less often than they claim. Why, and what to use instead, is said in [statistics.md](statistics.md), chapter by chapter; some are here only to show that the default beside them is better.`,
    '',
    ...lines(short),
    ...chapters.flatMap(({ title, rows }) => [`## ${title}`, '', ...lines(rows)]),
    `## ${PLANS}`,
    '',
    ...plans,
  ].join('\n');
}

writeFileSync(PAGE, page());
