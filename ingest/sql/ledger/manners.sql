-- It would be drawn into our own output.
SET enable_progress_bar = false;
-- Memory freed goes back at once: kept, it would come on top of the tables made of 100,000 pumps' visits.
SET allocator_bulk_deallocation_flush_threshold = '1MB';
-- No statement that got in from outside can undo any of it.
SET lock_configuration = true;
