/**
 * The page's policy lets no text become markup or code. What it still needs to load by an address, its workers, it may
 * load from its own origin alone. Import this before all else.
 */

interface TrustedTypes {
  createPolicy(name: string, rules: { createScriptURL(address: string): string }): unknown;
}

/** Absent in browsers that do not know such policies. */
const { trustedTypes } = globalThis as { trustedTypes?: TrustedTypes };

trustedTypes?.createPolicy('default', {
  createScriptURL(address) {
    if (new URL(address, location.href).origin === location.origin) return address;
    throw new TypeError(`no script from elsewhere is loaded: ${address}`);
  },
});
