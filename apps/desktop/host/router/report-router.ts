import { openProcedure, router } from '../trpc';
import { jobSchema, questionSchema } from './question';

/** The report on a question: a job like its answer; the texts are fetched when it is done. */
export const reportRouter = router({
  start: openProcedure.input(questionSchema).mutation(async ({ ctx, input }) => ({
    job: ctx.host.reports.start(await ctx.open.keyedStudy(), ctx.open.asOfToday(input)),
  })),
  poll: openProcedure.input(jobSchema).query(({ ctx, input }) => {
    const current = ctx.host.reports.poll(input.job);
    return current.state === 'done' ? { state: current.state, answer: null } : current;
  }),
  stop: openProcedure.input(jobSchema).mutation(({ ctx, input }) => ctx.host.reports.stop(input.job)),
  texts: openProcedure.input(jobSchema).query(({ ctx, input }) => ctx.host.reports.answer(input.job)),
});
