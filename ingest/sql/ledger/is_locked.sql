SELECT current_setting('lock_configuration')
