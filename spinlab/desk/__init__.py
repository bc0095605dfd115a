"""The desk: a small service where technicians hand in recordings and support answers them.

    phone page -> upload -> original, kept by its hash -> job -> worker -> contained analysis
               -> result -> queue of support -> labels, note, hand-back link -> technician

One database (SQLite in a folder, or PostgreSQL by its address) holds what is known of a job, the
folder holds the bytes.  Server and worker are processes of their own that meet in these two alone,
so that either may be killed at any moment.
"""
