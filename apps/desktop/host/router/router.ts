import { methodErrorInForce } from '@longhold/core/agreement';
import { importTextsSchema } from '@longhold/core/intake';
import { growthTableNameSchema } from '@longhold/core/growth';
import { measureCodeSchema, MEASURES } from '@longhold/core/measures';
import { recallList, recallSettingsSchema } from '@longhold/core/recall';
import { patientCodeSchema, patientEventSchema } from '@longhold/core/records';
import { z } from 'zod';
import { savedViewSchema } from '../store';
import { openProcedure, router } from '../trpc';
import { outcomeRouter, sensitivityRouter } from './outcome-router';
import { poolingRouter } from './pooling-router';
import { reportRouter } from './report-router';
import { sessionRouter } from './session-router';

const recordsRouter = router({
  preview: openProcedure.input(importTextsSchema).mutation(({ ctx, input }) => ctx.open.previewImport(input)),
  // Not `apply`: routers reserve that word.
  write: openProcedure.input(importTextsSchema).mutation(({ ctx, input }) => ctx.open.applyImport(input)),
});

const recallRouter = router({
  list: openProcedure.query(async ({ ctx }) => {
    const { study } = await ctx.open.study();
    return recallList(study, ctx.open.today, recallSettingsSchema.parse({}));
  }),
  recordEvent: openProcedure
    .input(patientEventSchema.extend({ code: patientCodeSchema }))
    .mutation(({ ctx, input: { code, ...event } }) => ctx.open.recordEvent(code, event)),
});

const methodsRouter = router({
  errors: openProcedure.query(async ({ ctx }) => {
    const { study } = await ctx.open.study();
    return MEASURES.map((measure) => ({ measure: measure.code, error: methodErrorInForce(study, measure) }));
  }),
});

const viewsRouter = router({
  list: openProcedure.query(({ ctx }) => ctx.open.savedViews()),
  save: openProcedure.input(savedViewSchema).mutation(({ ctx, input }) => ctx.open.saveView(input)),
  rename: openProcedure
    .input(z.strictObject({ from: savedViewSchema.shape.name, to: savedViewSchema.shape.name }))
    .mutation(({ ctx, input }) => ctx.open.renameView(input.from, input.to)),
  remove: openProcedure
    .input(savedViewSchema.pick({ name: true }))
    .mutation(({ ctx, input }) => ctx.open.removeView(input.name)),
});

const growthTablesRouter = router({
  list: openProcedure.query(async ({ ctx }) => (await ctx.open.study()).tables),
  remove: openProcedure
    .input(z.strictObject({ name: growthTableNameSchema, measure: measureCodeSchema }))
    .mutation(({ ctx, input }) => ctx.open.removeGrowthTable(input)),
});

/** All that the screens can ask of the host. */
export const appRouter = router({
  session: sessionRouter,
  records: recordsRouter,
  recall: recallRouter,
  methods: methodsRouter,
  outcomes: outcomeRouter,
  sensitivity: sensitivityRouter,
  views: viewsRouter,
  growthTables: growthTablesRouter,
  report: reportRouter,
  pooling: poolingRouter,
});
export type AppRouter = typeof appRouter;
