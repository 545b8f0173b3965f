import { setTimeout as pause } from 'node:timers/promises';
import { centreSheetSchema, studyDefinitionSchema, type PooledRecord } from '@longhold/core/contribution';
import { pooledAnswerSchema } from '@longhold/core/exchange';
import {
  allCentreEstimates,
  centreStatistics,
  memberView,
  pooledAnswer,
  type CentreInPool,
  type Viewer,
} from '@longhold/core/pooled';
import { afterAll, beforeAll, expect, it, vi } from 'vitest';
import { z } from 'zod';
import {
  coordinate,
  DEFINITION,
  desktop,
  inventedFiles,
  poolingFolder,
  servicePrograms,
  type Desktop,
  type Service,
} from '../pooling/programs';

// Dozens of programs are started one after the other; a busy computer takes its time over each.
vi.setConfig({ testTimeout: 400_000, hookTimeout: 400_000 });

const folder = poolingFolder(afterAll);
const programs = servicePrograms(folder);
const definition = studyDefinitionSchema.parse(DEFINITION);
const centreSchema = z.looseObject({ link: z.looseObject({ member: z.string() }), sheet: centreSheetSchema });

/** What one clinic contributed, as its own program says. */
interface Contributed {
  readonly clinic: Desktop;
  readonly member: string;
  readonly sheet: z.infer<typeof centreSheetSchema>;
  readonly records: readonly PooledRecord[];
}

let service: Service;
let coordinator: Desktop;
const contributed: Contributed[] = [];

beforeAll(async () => {
  service = await programs.start();
  const study = await coordinate(folder, service, programs.coordinatorCode(), DEFINITION);
  coordinator = study.coordinator;
  for (const seed of [11, 12, 13]) {
    const clinic = desktop(folder, `clinic ${seed}`);
    await clinic.bringIn(await inventedFiles(folder, `files ${seed}`, seed, 40));
    const state = await clinic.link(service.address, await study.invite('centre'));
    const { link, sheet } = centreSchema.parse({ ...state, ...(await clinic.send()) });
    const records = (await clinic.records()).map(({ record }) => record);
    contributed.push({ clinic, member: link.member, sheet, records });
  }
});
afterAll(() => service.stop());

it('The pooled answer that members get of three clinics is that of one store with all of their records, number for number', async () => {
  const whole = ofOneStore();
  const [first] = contributed;
  const viewers: [Desktop, Viewer][] = [[coordinator, { kind: 'coordinator' }]];
  if (first !== undefined) viewers.push([first.clinic, { kind: 'centre', centre: first.member }]);
  for (const [member, viewer] of viewers) {
    const answer = await pooledOf(member);
    expect(answer.centres).toBe(3);
    expect(answer.newer).toBe(false);
    const expected: unknown = JSON.parse(JSON.stringify(memberView(whole, viewer, definition)));
    expect(JSON.parse(JSON.stringify(answer.view))).toEqual(expected);
    // Not everything is withheld, or nothing would have been compared.
    expect(JSON.stringify(answer.view).match(/\d\.\d/g)?.length).toBeGreaterThan(50);
  }
});

/** All records in one place, told apart by their clinic. */
function ofOneStore() {
  const store = contributed.flatMap(({ member, records }) => records.map((record) => ({ member, record })));
  const centres = contributed.map(({ member, sheet }): CentreInPool => {
    const own = store.filter((row) => row.member === member).map(({ record }) => record);
    const context = { sheet, definition, definitionVersion: 1, software: '0.1.0' };
    const statistics = centreStatistics(own, context);
    return { centre: member, statistics, estimates: allCentreEstimates(statistics, definition) };
  });
  return pooledAnswer(centres, definition, 1);
}

/** Asks until it is there. */
async function pooledOf(member: Desktop) {
  for (let tries = 0; tries < 60; tries++) {
    const answer = pooledAnswerSchema.parse(await member.pool('pooled'));
    if (answer.kind === 'released') return answer;
    await pause(500);
  }
  throw new Error('no pooled answer came');
}
