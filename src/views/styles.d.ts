/** Style sheets that views import; the build makes files of them. */
declare module '*.css';
