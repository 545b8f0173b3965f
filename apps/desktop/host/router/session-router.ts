import { z } from 'zod';
import type { Host } from '../host';
import { procedure, router } from '../trpc';

const storeAccessSchema = z.strictObject({
  path: z.string().min(1, 'the path of a store').max(4096),
  passphrase: z.string().min(1, 'a passphrase').max(1024),
});

export const sessionRouter = router({
  state: procedure.query(async ({ ctx }) => ({
    version: ctx.host.version,
    store: await storeFacts(ctx.host),
  })),
  defaults: procedure.query(async ({ ctx }) => ({
    folder: ctx.host.storesFolder,
    existing: await ctx.host.existingStores(),
  })),
  openDemo: procedure.mutation(({ ctx }) => ctx.host.openDemo()),
  create: procedure
    .input(storeAccessSchema)
    .mutation(({ ctx, input }) => ctx.host.createStore(input.path, input.passphrase)),
  open: procedure
    .input(storeAccessSchema)
    .mutation(({ ctx, input }) => ctx.host.openStore(input.path, input.passphrase)),
  close: procedure.mutation(({ ctx }) => ctx.host.closeStore()),
});

/** What the screens say of the open store; null where none is open. */
async function storeFacts({ open }: Host) {
  if (open === null) return null;
  const { revision, study, tables } = await open.study();
  const ofGroup = (group: 'treated' | 'untreated'): number =>
    study.filter(({ patient }) => patient.group === group).length;
  return {
    name: open.name,
    path: open.store.path,
    demo: open.isDemo,
    today: open.today,
    treated: ofGroup('treated'),
    untreated: ofGroup('untreated'),
    visits: study.reduce((sum, { visits }) => sum + visits.length, 0),
    /** Protocols of treated patients, in alphabetical order. */
    protocols: [
      ...new Set(
        study.flatMap(({ patient: { group, protocol } }) =>
          group === 'treated' && protocol !== null ? [protocol] : [],
        ),
      ),
    ].sort(),
    /** Growth tables to choose from, by name and measure. */
    growthTables: tables.map(({ name, measure }) => ({ name, measure })),
    revision,
  };
}
