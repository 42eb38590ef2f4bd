/* Files: secrets, directories, whole files, atomic replacement, the lock of a state directory. */
#ifndef LENTIC_ADAPTERS_FILES_H
#define LENTIC_ADAPTERS_FILES_H

#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>
#include "base/status.h"

#define FILES_SECRET_MAX 512 /* bytes */

/* Reads a password or the like into buf, terminated, one trailing newline cut. A name without a slash is
 * looked up below $CREDENTIALS_DIRECTORY. STATUS_REFUSED: other users or the group can read it (files below
 * $CREDENTIALS_DIRECTORY are the service manager's affair). STATUS_INVALID: empty, too long, holds a zero
 * byte. STATUS_NONE: no such file. STATUS_IO. */
enum status files_read_secret(const char *name, char *buf, size_t cap, struct why *why) LENTIC_CHECKED;

/* Reads a whole regular file of at most max bytes; *out is terminated and the caller's to free. STATUS_NONE:
 * no such file. STATUS_FULL: longer than max. STATUS_IO. */
enum status files_read(const char *path, size_t max, char **out, size_t *n, struct why *why) LENTIC_CHECKED;

/* Replaces the file in one step: new content in path.new, synced, renamed, directory synced. */
enum status files_write(const char *path, const void *bytes, size_t n, mode_t mode,
                        struct why *why) LENTIC_CHECKED;
/* The same without the syncs: for what only has to outlive the process. */
enum status files_write_passing(const char *path, const void *bytes, size_t n, mode_t mode,
                                struct why *why) LENTIC_CHECKED;

/* Makes the directory and those above it that are missing. */
enum status files_make_dirs(const char *path, mode_t mode, struct why *why) LENTIC_CHECKED;

/* Takes the lock file for this process and writes its number into it; *fd keeps it until closed or the
 * process ends. STATUS_REFUSED: another process holds it, with its number. */
enum status files_lock(const char *path, int *fd, struct why *why) LENTIC_CHECKED;

/* Bytes that this process has caused to be sent to disks, as the kernel counts them (proc(5), io), what was
 * taken back before it got there left out; memory file systems do not count. -1: the kernel does not tell. */
int64_t files_written(void);

#endif
