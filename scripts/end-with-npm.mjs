/** How often to look; a person who ended the program waits no longer than this. */
const LOOK_MILLISECONDS = 200;

/**
 * Ends this program when npm, which started it, is ended. npm passes a signal on to the shell between them, and
 * that shell dies of it without telling anybody, so the sign is that this process has got another parent.
 */
export function endWithNpm() {
  if (process.env.npm_lifecycle_event === undefined) return;
  const parent = process.ppid;
  const look = setInterval(() => {
    if (process.ppid === parent) return;
    clearInterval(look);
    process.kill(process.pid, 'SIGTERM');
  }, LOOK_MILLISECONDS);
  look.unref();
}
