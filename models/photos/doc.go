// Package photos keeps the pictures that readings show: it strips them of all
// that a camera writes beside the picture, makes them small where a page wants
// them small, and keeps the files. What a photo is of, and who may see it, are
// records of package models.
//
// A photo is known by the SHA-256 of its stripped bytes; its file has a word beside
// that in its name, which is never used twice, so that deleting an old file can't
// take one that was kept since. Exports carry no photos; a backup does.
package photos
