import type { FileOut } from '../steps/file-out.ts';

/**
 * Gives the person a file.
 *
 * @returns what to say of it
 */
export function saveFile({ name, content, type }: FileOut): string {
  const link = document.createElement('a');
  link.href = URL.createObjectURL(new Blob([content], { type }));
  link.download = name;
  link.click();
  // The browser has taken it by the next turn.
  setTimeout(() => URL.revokeObjectURL(link.href));
  return `Saved as ${name}.`;
}
