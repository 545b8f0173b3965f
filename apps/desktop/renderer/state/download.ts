/** Hand a text to the user as a file to save. */
export function downloadText(name: string, type: string, text: string): void {
  const address = URL.createObjectURL(new Blob([text], { type }));
  const link = document.createElement('a');
  link.href = address;
  link.download = name;
  document.body.append(link);
  link.click();
  link.remove();
  /* The download reads the address after this turn; giving it up at once would cancel it. */
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
