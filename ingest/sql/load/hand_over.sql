-- Units that another ledger kept until now.
DELETE FROM brought_row WHERE table_name = 'vehicle' AND row_key IN (SELECT unit FROM handed_over)
